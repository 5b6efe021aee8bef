#pragma once

#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "jobs/brackets/grouping.h"
#include "jobs/brackets/merge.h"

namespace seamwright {

/// Reads and merges one shot, lens by lens, on one radiometric scale: full code at the exposure of
/// lens 0's middle step is 1.0 for all. Fails on a lens with a single frame.
[[nodiscard]] Result<std::vector<MergedFrame>> merge_shot(const std::vector<ListedFrame>& frames,
                                                          const BracketShot& shot,
                                                          const MergeOptions& options,
                                                          const ProgressFn& progress = {});

}  // namespace seamwright
