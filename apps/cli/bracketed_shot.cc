#include "apps/cli/bracketed_shot.h"

#include <algorithm>
#include <system_error>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/cli/merged_shot.h"
#include "jobs/brackets/frame_list.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

Result<BracketShot> only_shot(const std::vector<ListedFrame>& frames, const BracketOptions& options,
                              const Console& console) {
  const auto grouping = options.grouping_options();
  if (!grouping) return tl::unexpected(grouping.error());
  auto shots = group_brackets(frames, *grouping);
  if (!shots) return tl::unexpected(shots.error());
  console.say(bracket_table(frames, *shots));
  if (shots->size() == 1) return std::move(shots->front());
  return fail(
      {.kind = ErrorKind::user_input,
       .where = {},
       .field = "frames",
       .what = fmt::format("hold {} shots, {} and others", shots->size(), shots->front().name),
       .remedy = "give the frames of one shot, or run 'seamwright merge' on all of them"});
}

// Merges what is grouped and lays the merged pictures out.
Result<BracketedShot> merge_grouped(const std::vector<ListedFrame>& listed, const BracketShot& shot,
                                    const FrameIntake& intake, const BracketOptions& options,
                                    const Console& console) {
  const auto merge = options.merge_options();
  if (!merge) return tl::unexpected(merge.error());
  auto merged = merge_shot(listed, shot, *merge, console.progress());
  if (!merged) return tl::unexpected(merged.error());
  BracketedShot result;
  result.report = nlohmann::json::array();
  std::vector<Frame> pictures;
  for (MergedFrame& one : *merged) {
    for (const std::string& line : merge_lines(one.report)) console.say(line);
    for (std::string& finding : one.report.findings()) {
      result.findings.push_back(std::move(finding));
    }
    result.report.push_back(merge_json(one.report));
    pictures.push_back(std::move(one.frame));
  }
  auto frames = arrange_shot(std::move(pictures), intake);
  if (!frames) return tl::unexpected(frames.error());
  result.frames = std::move(*frames);
  return result;
}

}  // namespace

bool is_bracketed(const std::vector<std::string>& arguments, const FrameIntake& intake,
                  int lens_count) {
  const bool folder = std::any_of(arguments.begin(), arguments.end(), [](const std::string& path) {
    std::error_code ignored;
    return fs::is_directory(path, ignored);
  });
  const bool one_per_file = intake.layout == FrameLayout::one_per_file;
  const auto once = static_cast<std::size_t>(one_per_file ? lens_count : 1);
  return folder || (arguments.size() > once && arguments.size() % once == 0);
}

Result<BracketedShot> read_bracketed_shot(const std::vector<std::string>& arguments,
                                          const FrameIntake& intake, int lens_count,
                                          const BracketOptions& options, const Console& console) {
  const auto listed = list_frames({arguments.begin(), arguments.end()}, console.progress());
  if (!listed) return tl::unexpected(listed.error());
  const auto shot = only_shot(*listed, options, console);
  if (!shot) return tl::unexpected(shot.error());
  FrameIntake layout = intake;
  layout.lens_count = lens_count;
  // One series for a body of several lenses: each file holds them all.
  const bool together = shot->lenses.size() == 1 && lens_count > 1;
  if (!together) layout.layout = FrameLayout::one_per_file;
  if (together && layout.layout == FrameLayout::one_per_file) {
    layout.layout = FrameLayout::side_by_side;
  }
  if (!together && static_cast<int>(shot->lenses.size()) != lens_count) {
    return fail(
        {.kind = ErrorKind::user_input,
         .where = shot->name,
         .field = "lenses",
         .what = fmt::format("{} of them for a body of {}", shot->lenses.size(), lens_count),
         .remedy = "tell lenses apart by --pattern with a group (?<lens>...)"});
  }
  return merge_grouped(*listed, *shot, layout, options, console);
}

Result<BracketedShot> read_bracketed_shot(const fs::path& shot_file, const FrameIntake& intake,
                                          const ShotFile& shot, const BracketOptions& options,
                                          const Console& console) {
  std::vector<fs::path> files;
  std::vector<std::vector<WrittenFrame>> written;
  for (const auto& bracket : shot.brackets) {
    std::vector<WrittenFrame>& series = written.emplace_back();
    for (const BracketFrame& frame : bracket) {
      series.push_back({.frame = files.size(), .ev = frame.ev});
      files.push_back(beside_shot_file(shot_file, frame.file));
    }
  }
  const auto listed = list_frames(files, console.progress());
  if (!listed) return tl::unexpected(listed.error());
  BracketShot grouped{.name = shot_file.filename().string(), .lenses = {}};
  for (const auto& series : written) {
    auto lens = written_series(*listed, series);
    if (!lens) return tl::unexpected(lens.error());
    grouped.lenses.push_back(std::move(*lens));
  }
  console.say(bracket_table(*listed, {grouped}));
  return merge_grouped(*listed, grouped, intake, options, console);
}

}  // namespace seamwright
