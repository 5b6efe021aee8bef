#include "jobs/brackets/merge_shot.h"

#include <array>

#include <fmt/format.h>

#include "imaging/raw_reader.h"
#include "imaging/read_image.h"

namespace seamwright {

namespace {

/// A frame's pixels; of raw ones in the camera's colours, where each channel clips by itself.
Result<CameraPicture> read_exposure(const std::filesystem::path& file) {
  if (is_raw_file(file)) return read_camera_picture(file);
  auto image = read_image(file);
  if (!image) return tl::unexpected(image.error());
  return CameraPicture{.image = std::move(*image)};
}

Result<MergedFrame> merge_series(const std::vector<ListedFrame>& frames,
                                 const BracketSeries& series, const MergeOptions& options,
                                 const ProgressFn& progress) {
  std::vector<Frame> exposures;
  std::vector<double> values;
  std::array<double, 9> wide_from_camera{};
  for (const BracketStep& step : series.steps) {
    for (const BracketMember& member : step.members) {
      if (!tell(progress, "reading",
                static_cast<double>(values.size()) / static_cast<double>(series.frame_count()))) {
        return fail({.kind = ErrorKind::cancelled,
                     .where = {},
                     .field = {},
                     .what = "the merge was stopped",
                     .remedy = {}});
      }
      const ListedFrame& listed = frames[member.frame];
      auto picture = read_exposure(listed.file);
      if (!picture) return tl::unexpected(picture.error());
      if (values.empty()) wide_from_camera = picture->wide_from_camera;
      exposures.push_back({std::move(picture->image), listed.info});
      values.push_back(member.exposure);
    }
  }
  const bool raw = is_raw_file(exposures.front().info.file);
  auto merged = merge_brackets(std::move(exposures), values, options, progress);
  if (merged && raw) {
    merged->frame.image = in_working_space(merged->frame.image, wide_from_camera);
  }
  return merged;
}

}  // namespace

Result<std::vector<MergedFrame>> merge_shot(const std::vector<ListedFrame>& frames,
                                            const BracketShot& shot, const MergeOptions& options,
                                            const ProgressFn& progress) {
  std::vector<MergedFrame> merged;
  MergeOptions own = options;
  for (const BracketSeries& series : shot.lenses) {
    if (series.frame_count() < 2) {
      return fail(
          {.kind = ErrorKind::user_input,
           .where = shot.name,
           .field = "brackets",
           .what = fmt::format("{} is alone in its shot",
                               frames[series.steps.front().members.front().frame].file.string()),
           .remedy = "give all frames of the bracket; frames farther apart than 'rest_s' are "
                     "shots of their own"});
    }
    if (own.unit_exposure <= 0) {
      own.unit_exposure = series.steps[(series.steps.size() - 1) / 2].members.front().exposure;
    }
    auto one = merge_series(frames, series, own, progress);
    if (!one) return tl::unexpected(one.error());
    merged.push_back(std::move(*one));
  }
  return merged;
}

}  // namespace seamwright
