#pragma once

#include <filesystem>
#include <vector>

#include "apps/cli/console.h"
#include "base/result.h"
#include "jobs/shot/shot_files.h"

namespace seamwright {

struct TouchManyOptions {
  std::vector<std::filesystem::path> inputs;     ///< folders, frames, shot files, run files
  std::vector<std::filesystem::path> templates;  ///< of all but run files, which name theirs
  ShotRequest intake;                            ///< how frames lie in their files
};

/// Touches every shot that needs it, and says of each in one line what was done.
[[nodiscard]] Result<Outcome> touch_many(const TouchManyOptions& options, const Console& console);

}  // namespace seamwright
