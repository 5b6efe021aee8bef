#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "base/result.h"
#include "cli/bracket_options.h"
#include "cli/console.h"
#include "imaging/frame.h"

namespace seamwright {

/// One thing to check: a shot of frames, or a finished panorama.
struct CheckInput {
  std::string name;
  std::filesystem::path shot_file = {};  ///< where the frames come from one
  std::filesystem::path panorama = {};   ///< alone, where this is not empty
  std::vector<std::filesystem::path> frames = {};
  FrameIntake intake = {};
};

/// What files and folders hold: shot files by themselves; pictures that say they are panoramas;
/// all other pictures grouped into shots as brackets are (brackets/grouping.h), of each lens the
/// middle exposure. Frames that a shot file names belong to it alone. In the order of the names.
[[nodiscard]] Result<std::vector<CheckInput>> check_inputs(
    const std::vector<std::string>& arguments, const GroupingOptions& grouping, int lens_count,
    const Console& console);

}  // namespace seamwright
