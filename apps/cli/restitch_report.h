#pragma once

#include <cstddef>
#include <filesystem>
#include <string>
#include <utility>

#include <nlohmann/json_fwd.hpp>

#include "apps/cli/console.h"
#include "jobs/archive/run.h"
#include "jobs/restitch/restitch.h"

namespace seamwright {

/// Tells people how a run goes, and how it went.
class RestitchTeller {
 public:
  /// What of the command decides the words.
  struct Options {
    std::filesystem::path folder;  ///< of the panoramas
    int width_px = 0;              ///< of the panoramas; 0: native
    bool dry_run = false;
    bool verify = false;
    bool all_said = false;  ///< by a run file: what is not of this run is of no shot any more
  };

  RestitchTeller(const Console& console, const Restitch& restitch, Options options)
      : console_(console), restitch_(restitch), options_(std::move(options)) {}

  /// After each shot; false where the person said stop.
  bool tell_one(const ItemOutcome& item, int at, int of);
  /// What many shots share is said once.
  void tell_all(const RunReport& report) const;

 private:
  void tell_failures(const RunReport& report) const;
  void tell_left_behind(const RunReport& report) const;
  void tell_notes(const RunReport& report) const;
  void tell_knock(const SharedKnock& knock) const;
  [[nodiscard]] std::string state_words(const ItemOutcome& item) const;
  void tell_estimate(const RunReport& report) const;

  const Console& console_;
  const Restitch& restitch_;
  const Options options_;
  std::string worst_;  // failed, or with the most findings so far
  std::size_t worst_findings_ = 0;
  int stitched_ = 0;
  double spent_s_ = 0;
};

/// The report for programs; names as base/readable_text.h spells them.
[[nodiscard]] nlohmann::json as_json(const RunReport& report, const Restitch& restitch,
                                     const Console& console);

}  // namespace seamwright
