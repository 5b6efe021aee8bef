#pragma once

// The brackets that files, folders, shot files and run files hold, for who merges them without
// stitching.

#include <filesystem>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "jobs/brackets/grouping.h"

namespace seamwright {

struct BracketInputs {
  std::vector<ListedFrame> frames;  ///< of all shots
  std::vector<BracketShot> shots;   ///< members are indices into `frames`; no two of one name
  std::vector<LeftOut> left_out;
  std::vector<std::filesystem::path> looked_at;  ///< all pictures, those of no shot too
  int single = 0;  ///< shots of shot and run files with one exposure of each lens: nothing to merge
};

/// Frames and folders are grouped by `grouping`; shot files and run files say their own. What
/// cannot be read or grouped is left out. Fails on options that make no sense, and when told to
/// stop.
[[nodiscard]] Result<BracketInputs> find_brackets(const std::vector<std::filesystem::path>& inputs,
                                                  const GroupingOptions& grouping,
                                                  const ProgressFn& progress = {});

}  // namespace seamwright
