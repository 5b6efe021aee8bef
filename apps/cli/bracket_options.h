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

/// How the command line says how light becomes a picture for displays.
void add_tone_options(CLI::App& command, ToneWish& wish);

}  // namespace seamwright
