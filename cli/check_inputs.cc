#include "cli/check_inputs.h"

#include <algorithm>
#include <set>
#include <system_error>

#include <fmt/format.h>

#include "brackets/frame_list.h"
#include "brackets/grouping.h"
#include "cli/shot_input.h"
#include "imaging/metadata.h"
#include "templates/shot_file.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

/// Files of the arguments: those named, and what lies in folders.
struct Found {
  std::vector<fs::path> shot_files;
  std::vector<fs::path> pictures;
};

Result<Found> look_through(const std::vector<std::string>& arguments) {
  Found found;
  std::vector<fs::path> picture_arguments;
  for (const std::string& argument : arguments) {
    if (is_shot_file(argument)) {
      found.shot_files.emplace_back(argument);
      continue;
    }
    std::error_code code;
    if (!fs::is_directory(argument, code)) {
      picture_arguments.emplace_back(argument);
      continue;
    }
    bool any_shot = false;
    for (const fs::directory_entry& entry : fs::directory_iterator(argument, code)) {
      if (!is_shot_file(entry.path())) continue;
      found.shot_files.push_back(entry.path());
      any_shot = true;
    }
    // A folder may hold shot files alone.
    const auto listed = list_frames({argument});
    if (listed) {
      picture_arguments.emplace_back(argument);
    } else if (!any_shot) {
      return tl::unexpected(listed.error());
    }
  }
  std::sort(found.shot_files.begin(), found.shot_files.end());
  if (picture_arguments.empty()) return found;
  const auto listed = list_frames(picture_arguments);
  if (!listed) return tl::unexpected(listed.error());
  for (const ListedFrame& frame : *listed) found.pictures.push_back(frame.file);
  return found;
}

Result<CheckInput> from_shot_file(const fs::path& file, std::set<fs::path>& taken) {
  const auto shot = read_shot_file(file);
  if (!shot) return tl::unexpected(shot.error());
  CheckInput input{
      .name = file.filename().string(), .shot_file = file, .frames = {}, .intake = shot->intake};
  std::error_code code;
  const auto take = [&](const fs::path& frame) {
    taken.insert(fs::weakly_canonical(beside_shot_file(file, frame), code));
  };
  for (const fs::path& frame : shot->frames) {
    input.frames.push_back(beside_shot_file(file, frame));
    take(frame);
  }
  for (const auto& bracket : shot->brackets) {
    for (const BracketFrame& frame : bracket) take(frame.file);
  }
  return input;
}

/// The middle exposure of each lens.
Result<CheckInput> from_group(const std::vector<ListedFrame>& frames, const BracketShot& shot,
                              int lens_count) {
  CheckInput input{.name = shot.name, .frames = {}, .intake = {.lens_count = lens_count}};
  for (const BracketSeries& series : shot.lenses) {
    const BracketStep& step = series.steps[(series.steps.size() - 1) / 2];
    input.frames.push_back(frames[step.members.front().frame].file);
  }
  if (input.frames.size() == 1 && lens_count > 1) {
    input.intake.layout = FrameLayout::side_by_side;
  } else if (static_cast<int>(input.frames.size()) != lens_count) {
    return fail(
        {.kind = ErrorKind::user_input,
         .where = shot.name,
         .field = "lenses",
         .what = fmt::format("{} of them for a body of {}", input.frames.size(), lens_count),
         .remedy =
             "tell shots and lenses apart by --pattern with groups (?<shot>...), (?<lens>...)"});
  }
  return input;
}

}  // namespace

Result<std::vector<CheckInput>> check_inputs(const std::vector<std::string>& arguments,
                                             const GroupingOptions& grouping, int lens_count,
                                             const Console& console) {
  const auto found = look_through(arguments);
  if (!found) return tl::unexpected(found.error());
  std::vector<CheckInput> inputs;
  std::set<fs::path> taken;
  for (const fs::path& file : found->shot_files) {
    auto input = from_shot_file(file, taken);
    if (!input) return tl::unexpected(input.error());
    inputs.push_back(std::move(*input));
  }
  std::vector<fs::path> loose;
  for (const fs::path& picture : found->pictures) {
    std::error_code code;
    if (taken.contains(fs::weakly_canonical(picture, code))) continue;
    const auto sphere = read_panorama_info(picture);
    if (sphere && *sphere) {
      inputs.push_back({.name = picture.filename().string(), .panorama = picture});
    } else {
      loose.push_back(picture);
    }
  }
  if (!loose.empty()) {
    const auto listed = list_frames(loose, console.progress());
    if (!listed) return tl::unexpected(listed.error());
    const auto shots = group_brackets(*listed, grouping);
    if (!shots) return tl::unexpected(shots.error());
    for (const BracketShot& shot : *shots) {
      auto input = from_group(*listed, shot, lens_count);
      if (!input) return tl::unexpected(input.error());
      inputs.push_back(std::move(*input));
    }
  }
  return inputs;
}

}  // namespace seamwright
