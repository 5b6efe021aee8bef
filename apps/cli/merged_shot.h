#pragma once

#include <vector>

#include <nlohmann/json_fwd.hpp>

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
                                                          const ProgressFn& progress);

/// A lens' name for file names: its last word, or its number.
[[nodiscard]] std::string lens_suffix(const BracketSeries& series, std::size_t index);

/// Lines for people about one merged lens.
[[nodiscard]] std::vector<std::string> merge_lines(const MergeReport& report);
[[nodiscard]] nlohmann::json merge_json(const MergeReport& report);

}  // namespace seamwright
