#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "apps/cli/bracket_options.h"
#include "apps/cli/console.h"
#include "base/result.h"
#include "imaging/frame.h"

namespace seamwright {

/// One thing to check: a shot of frames, or a finished panorama.
struct CheckInput {
  std::string name;
  std::filesystem::path shot_file = {};  ///< where the frames come from one
  std::filesystem::path panorama = {};   ///< alone, where this is not empty
  std::vector<std::filesystem::path> frames = {};
  /// Every frame of the shot, where it was bracketed.
  std::vector<std::filesystem::path> exposures = {};
  FrameIntake intake = {};
  std::optional<Error> failure = {};  ///< why it cannot even be listed; the rest may be empty
};

/// What files and folders hold: shot files by themselves; pictures that say they are panoramas;
/// all other pictures grouped into shots as brackets are (jobs/brackets/grouping.h), of each lens
/// the middle exposure. Frames that a shot file names belong to it alone. What cannot be read or
/// grouped fails its own shot only. Fails on grouping options that make no sense, and when told to
/// stop.
[[nodiscard]] Result<std::vector<CheckInput>> check_inputs(
    const std::vector<std::string>& arguments, const GroupingOptions& grouping, int lens_count,
    const Console& console);

/// How a command fails whose inputs all have a failure; nothing where one has none.
[[nodiscard]] std::optional<Error> nothing_left(const std::vector<CheckInput>& inputs);

}  // namespace seamwright
