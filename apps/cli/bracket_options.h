#pragma once

#include <string>
#include <vector>

#include <CLI/CLI.hpp>

#include "base/result.h"
#include "jobs/brackets/grouping.h"
#include "jobs/brackets/merge.h"
#include "jobs/brackets/tone.h"

namespace seamwright {

/// How the command line says which frames belong together and how they are merged.
struct BracketOptions {
  GroupingOptions grouping;
  std::string pattern;
  MergeOptions merge;
  std::vector<double> noise;  ///< shot and read variance; empty: fitted
  bool stand_still = false;
  bool no_motion = false;

  void add_to(CLI::App& command);
  [[nodiscard]] Result<GroupingOptions> grouping_options() const;
  [[nodiscard]] Result<MergeOptions> merge_options() const;
};

/// How light becomes a picture for displays.
struct ToneOptions {
  double brighter_ev = 0;  ///< on top of what is found
  double local = 0;

  void add_to(CLI::App& command);
  /// For these pictures of one shot together.
  [[nodiscard]] DisplayOptions display_options(const std::vector<const Image*>& pictures) const;
};

}  // namespace seamwright
