#pragma once

// What the journals of a folder tell of the runs before this one.

#include <map>
#include <set>
#include <string>
#include <vector>

#include "jobs/archive/hashes.h"
#include "jobs/archive/journal_lines.h"

namespace seamwright {

struct PastRuns {
  std::map<std::string, std::vector<DoneLine>> done;  ///< by item: every time, oldest first
  std::vector<double> seconds;                        ///< of every time
  std::set<std::string> interrupted;                  ///< begun, and neither done nor failed
  int own_runs = 0;                                   ///< that this run's own journal tells
  std::map<std::string, int> damage = {};             ///< damaged lines by journal
  std::map<std::string, int> damage_told = {};        ///< of those, what an earlier run told

  /// Takes what a journal of that name holds, `damaged` lines aside; contents of files go to
  /// `hashes`. `own`: it is this run's own journal.
  void take(const std::string& journal, const std::vector<nlohmann::json>& entries, int damaged,
            bool own, Hashes& hashes);
  /// Damage that no run has told.
  [[nodiscard]] std::vector<DamageLine> damage_to_tell() const;
};

}  // namespace seamwright
