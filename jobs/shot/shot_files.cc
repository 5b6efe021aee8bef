#include "jobs/shot/shot_files.h"

#include <algorithm>
#include <string_view>
#include <system_error>
#include <utility>

#include <fmt/format.h>

#include "base/file_guard.h"
#include "base/user_error.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

bool name_ends_with(const fs::path& path, std::string_view suffix) {
  return path.filename().string().ends_with(suffix);
}

FrameLayout layout_of(const ShotRequest& request, int lens_count) {
  if (request.layout) return *request.layout;
  return request.files.size() == 1 && lens_count > 1 ? FrameLayout::side_by_side
                                                     : FrameLayout::one_per_file;
}

// A folder, or several files a lens.
bool names_brackets(const ShotRequest& request, FrameLayout layout, int lens_count) {
  const bool folder =
      std::any_of(request.files.begin(), request.files.end(), [](const fs::path& path) {
        std::error_code ignored;
        return fs::is_directory(path, ignored);
      });
  const auto once = static_cast<std::size_t>(layout == FrameLayout::one_per_file ? lens_count : 1);
  return folder || (request.files.size() > once && request.files.size() % once == 0);
}

Result<BracketShot> only_shot(const std::vector<ListedFrame>& frames,
                              const GroupingOptions& grouping) {
  auto shots = group_brackets(frames, grouping);
  if (!shots) return tl::unexpected(shots.error());
  if (shots->size() == 1) return std::move(shots->front());
  return fail(user_error(
      {}, "frames", fmt::format("hold {} shots, {} and others", shots->size(), shots->front().name),
      "give the frames of one shot, or merge all of them first"));
}

Result<ShotFiles> bracketed_files(const ShotRequest& request, FrameIntake intake,
                                  const ProgressFn& progress) {
  const auto listed = list_frames(request.files, progress);
  if (!listed) return tl::unexpected(listed.error());
  const auto shot = only_shot(*listed, request.grouping);
  if (!shot) return tl::unexpected(shot.error());
  const auto lens_count = static_cast<std::size_t>(intake.lens_count);
  // One series for a body of several lenses: each file holds them all.
  const bool together = shot->lenses.size() == 1 && lens_count > 1;
  if (!together && shot->lenses.size() != lens_count) {
    return fail(
        user_error(shot->name, "lenses",
                   fmt::format("{} of them for a body of {}", shot->lenses.size(), lens_count),
                   "tell lenses apart by 'pattern' with a group (?<lens>...)"));
  }
  ShotFiles files = files_of_group(*listed, *shot, std::move(intake));
  files.name = shot_name_of(request.files.front());
  files.layout_is_said = request.layout.has_value();
  return files;
}

Result<ShotFiles> requested_files(const ShotRequest& request, int lens_count,
                                  const ProgressFn& progress) {
  const FrameIntake intake{.layout = layout_of(request, lens_count),
                           .lens_count = lens_count,
                           .quarter_turns = request.quarter_turns,
                           .mirrored = request.mirrored};
  if (request.several_exposures && names_brackets(request, intake.layout, lens_count)) {
    return bracketed_files(request, intake, progress);
  }
  ShotFiles files{.name = shot_name_of(request.files.front()),
                  .shot_file = {},
                  .document = {},
                  .frames = request.files,
                  .intake = intake,
                  .grouped = {},
                  .layout_is_said = request.layout.has_value()};
  files.document.intake = intake;
  if (intake.layout == FrameLayout::one_per_file &&
      static_cast<int>(files.frames.size()) != lens_count) {
    return fail(
        user_error(files.name, "frames",
                   fmt::format("{} files for a body of {} lenses", files.frames.size(), lens_count),
                   "give one file per lens, or one file with all lenses"));
  }
  return files;
}

Result<ShotFiles> written_files(const ShotRequest& request) {
  const fs::path& file = request.files.front();
  if (request.layout || !request.quarter_turns.empty()) {
    return fail(user_error(file.string(), {},
                           "how frames lie in their files is said by the shot file",
                           "leave 'layout' and 'turns' out, and say it in the shot file"));
  }
  auto files = read_shot_files(file);
  if (!files) return files;
  files->document.intake.mirrored = files->document.intake.mirrored || request.mirrored;
  files->intake = files->document.intake;
  return files;
}

}  // namespace

std::vector<fs::path> ShotFiles::pictures() const {
  std::vector<fs::path> files;
  for (const auto& bracket : document.brackets) {
    for (const BracketFrame& frame : bracket) {
      files.push_back(beside_shot_file(shot_file, frame.file));
    }
  }
  if (grouped) {
    for (const ListedFrame& frame : grouped->frames) files.push_back(frame.file);
  }
  return files.empty() ? frames : files;
}

std::vector<fs::path> ShotFiles::all() const {
  std::vector<fs::path> files = pictures();
  if (!shot_file.empty()) files.push_back(shot_file);
  return files;
}

bool is_yaml(const fs::path& path) {
  return name_ends_with(path, ".yaml") || name_ends_with(path, ".yml");
}

bool is_shot_file(const fs::path& path) {
  return name_ends_with(path, ".shot.yaml") || name_ends_with(path, ".shot.yml");
}

std::string shot_name_of(const fs::path& first_file) {
  std::string name = first_file.stem().string();
  if (is_shot_file(first_file)) name = fs::path(name).stem().string();
  for (const std::string_view ending : {"_front", "-front", "_0", "-0"}) {
    if (name.size() > ending.size() && name.ends_with(ending)) {
      return name.substr(0, name.size() - ending.size());
    }
  }
  return name;
}

Result<ShotFiles> find_shot_files(const ShotRequest& request, int lens_count,
                                  const ProgressFn& progress) {
  if (request.files.empty()) {
    return fail(user_error({}, "frames", "there are none", "give frames or a shot file"));
  }
  const bool written = request.files.size() == 1 && is_yaml(request.files.front());
  auto files = written ? written_files(request) : requested_files(request, lens_count, progress);
  if (!files) return files;
  for (const fs::path& file : files->frames) note_read(file);
  for (const fs::path& file : files->all()) note_read(file);
  return files;
}

Result<ShotFiles> read_shot_files(const fs::path& shot_file) {
  auto document = read_shot_file(shot_file);
  if (!document) return tl::unexpected(document.error());
  ShotFiles files{.name = shot_name_of(shot_file),
                  .shot_file = shot_file,
                  .document = std::move(*document),
                  .frames = {},
                  .intake = {},
                  .grouped = {}};
  files.intake = files.document.intake;
  for (const fs::path& frame : files.document.frames) {
    files.frames.push_back(beside_shot_file(shot_file, frame));
  }
  return files;
}

ShotFiles files_of_group(const std::vector<ListedFrame>& listed, const BracketShot& shot,
                         FrameIntake intake) {
  ShotFiles files{.name = shot.name,
                  .shot_file = {},
                  .document = {},
                  .frames = {},
                  .intake = std::move(intake),
                  .grouped = {}};
  const bool together = shot.lenses.size() == 1 && files.intake.lens_count > 1;
  if (!together) files.intake.layout = FrameLayout::one_per_file;
  if (together && files.intake.layout == FrameLayout::one_per_file) {
    files.intake.layout = FrameLayout::side_by_side;
  }
  files.document.intake = files.intake;
  ShotBrackets own{.frames = {}, .series = shot};
  for (BracketSeries& series : own.series.lenses) {
    const BracketStep& middle = series.steps[(series.steps.size() - 1) / 2];
    files.frames.push_back(listed[middle.members.front().frame].file);
    for (BracketStep& step : series.steps) {
      for (BracketMember& member : step.members) {
        own.frames.push_back(listed[member.frame]);
        member.frame = own.frames.size() - 1;
      }
    }
  }
  if (own.frames.size() > files.frames.size()) files.grouped = std::move(own);
  return files;
}

Result<ShotBrackets> brackets_of(const ShotFiles& files, const ProgressFn& progress) {
  if (files.grouped) return *files.grouped;
  std::vector<fs::path> exposures;
  std::vector<std::vector<WrittenFrame>> written;
  for (const auto& bracket : files.document.brackets) {
    std::vector<WrittenFrame>& series = written.emplace_back();
    for (const BracketFrame& frame : bracket) {
      series.push_back({.frame = exposures.size(), .ev = frame.ev});
      exposures.push_back(beside_shot_file(files.shot_file, frame.file));
    }
  }
  auto listed = list_frames(exposures, progress);
  if (!listed) return tl::unexpected(listed.error());
  ShotBrackets brackets{.frames = std::move(*listed),
                        .series = {.name = files.shot_file.filename().string(), .lenses = {}}};
  for (const auto& series : written) {
    auto lens = written_series(brackets.frames, series);
    if (!lens) return tl::unexpected(lens.error());
    brackets.series.lenses.push_back(std::move(*lens));
  }
  return brackets;
}

Result<fs::path> seen_from_shot_file(const fs::path& file, const fs::path& shot_file) {
  std::error_code code;
  fs::path relative = fs::relative(file, fs::absolute(shot_file).parent_path(), code);
  if (!code && !relative.empty()) return relative;
  return fail(user_error(shot_file.string(), {},
                         fmt::format("has no relative path to {}", file.string()),
                         "keep the shot file on the same drive as frames and template"));
}

}  // namespace seamwright
