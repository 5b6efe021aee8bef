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
  for (const std::string& argument : arguments) {
    if (is_shot_file(argument)) {
      found.shot_files.emplace_back(argument);
      continue;
    }
    std::error_code code;
    if (!fs::exists(argument, code)) {
      return fail({.kind = ErrorKind::user_input,
                   .where = argument,
                   .field = {},
                   .what = "no such file or folder",
                   .remedy = "check the path"});
    }
    if (!fs::is_directory(argument, code)) {
      found.pictures.emplace_back(argument);
      continue;
    }
    for (const fs::directory_entry& entry : fs::directory_iterator(argument, code)) {
      if (is_shot_file(entry.path())) found.shot_files.push_back(entry.path());
    }
    const auto pictures = pictures_in(argument);
    if (pictures) found.pictures.insert(found.pictures.end(), pictures->begin(), pictures->end());
    if (!pictures && found.shot_files.empty()) return tl::unexpected(pictures.error());
  }
  std::sort(found.shot_files.begin(), found.shot_files.end());
  if (found.shot_files.empty() && found.pictures.empty()) {
    return fail({.kind = ErrorKind::user_input,
                 .where = arguments.front(),
                 .field = {},
                 .what = "holds no frames and no shot files",
                 .remedy = "give folders of frames, frames or *.shot.yaml"});
  }
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
    for (const BracketFrame& frame : bracket) {
      take(frame.file);
      input.exposures.push_back(beside_shot_file(file, frame.file));
    }
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
    if (series.frame_count() == 1) continue;
    for (const BracketStep& any : series.steps) {
      for (const BracketMember& member : any.members) {
        input.exposures.push_back(frames[member.frame].file);
      }
    }
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

namespace {

/// The shot that a file would belong to, as far as its name tells.
std::string shot_of(const fs::path& file, const GroupingOptions& grouping) {
  if (grouping.pattern) {
    const auto groups = grouping.pattern->match(file.filename().string());
    if (const auto shot = groups.find("shot"); shot != groups.end()) return shot->second;
  }
  return file.filename().string();
}

CheckInput failed_input(const std::string& name, const Error& error) {
  CheckInput input;
  input.name = name;
  input.failure = error;
  return input;
}

Result<void> add_loose(const std::vector<fs::path>& files, const GroupingOptions& grouping,
                       int lens_count, const Console& console, std::vector<CheckInput>& inputs) {
  std::vector<ListedFrame> readable;
  std::set<std::string> failed;
  const ProgressFn progress = console.progress();
  for (std::size_t i = 0; i < files.size(); ++i) {
    if (!tell(progress, "listing", static_cast<double>(i) / static_cast<double>(files.size()))) {
      return fail(stopped_while("listing frames"));
    }
    auto listed = list_frames({files[i]});
    if (listed) {
      readable.push_back(std::move(listed->front()));
      continue;
    }
    const std::string name = shot_of(files[i], grouping);
    if (!failed.insert(name).second) continue;
    inputs.push_back(failed_input(name, listed.error()));
  }
  if (readable.empty()) return {};
  GroupingOptions options = grouping;
  // A shot that lost a frame is no reason to refuse the others.
  options.allow_missing = options.allow_missing || !failed.empty();
  const auto shots = group_brackets(readable, options);
  if (!shots) return tl::unexpected(shots.error());
  for (const BracketShot& shot : *shots) {
    if (failed.contains(shot.name)) continue;
    auto input = from_group(readable, shot, lens_count);
    if (input) {
      inputs.push_back(std::move(*input));
    } else if (failed.empty()) {
      return tl::unexpected(input.error());
    } else {
      inputs.push_back(failed_input(shot.name, input.error()));
    }
  }
  return {};
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
  if (auto done = add_loose(loose, grouping, lens_count, console, inputs); !done) {
    return tl::unexpected(done.error());
  }
  return inputs;
}

}  // namespace seamwright
