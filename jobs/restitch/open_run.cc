#include "jobs/restitch/open_run.h"

#include <algorithm>
#include <utility>

#include "templates/run_file.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

// The enumerator that a word stands for; the run file's reader lets only such words pass.
template <class Enum, std::size_t N>
Enum meant(const std::array<std::string_view, N>& names, const std::string& word) {
  return static_cast<Enum>(std::find(names.begin(), names.end(), word) - names.begin());
}

ShotWishes wishes_in(const RunFile& run) {
  ShotWishes wishes{.width_px = run.width_px.value_or(0),
                    .seam = meant<SeamKind>(kSeamNames, run.seam),
                    .compression = meant<TiffCompression>(kCompressionNames, run.compression),
                    .jpeg_quality = run.jpeg.value_or(RunJpeg{}).quality,
                    .jpeg_width_px = run.jpeg.value_or(RunJpeg{}).width_px,
                    .keep_location = !run.strip_location};
  if (run.level) wishes.level.upright = Upright::find;
  return wishes;
}

Result<GroupingOptions> grouping_in(const RunFile& run) {
  GroupingOptions grouping{.rest_s = run.rest_s, .frames_per_shot = run.frames_per_shot};
  if (!run.pattern.empty()) {
    auto pattern = FramePattern::parse(run.pattern);
    if (!pattern) return tl::unexpected(pattern.error());
    grouping.pattern = std::move(*pattern);
  }
  return grouping;
}

}  // namespace

Result<RunRequest> read_run_request(const fs::path& run_file) {
  const auto run = read_run_file(run_file);
  if (!run) return tl::unexpected(run.error());
  const auto beside = [&](const fs::path& relative) {
    return (run_file.parent_path() / relative).lexically_normal();
  };
  auto grouping = grouping_in(*run);
  if (!grouping) return tl::unexpected(grouping.error());
  RunRequest request{.shots = {},
                     .templates = {},
                     .out = beside(run->out),
                     .wishes = wishes_in(*run),
                     .grouping = std::move(*grouping),
                     .jpeg = run->jpeg.has_value()};
  for (const fs::path& shot : run->shots) request.shots.push_back(beside(shot));
  for (const fs::path& body : run->templates) request.templates.push_back(beside(body));
  return request;
}

Result<RestitchOrder> open_run(const RunRequest& request, const ProgressFn& progress) {
  RestitchOrder order{.shots = {},
                      .templates = {},
                      .wishes = request.wishes,
                      .grouping = request.grouping,
                      .jpeg = request.jpeg,
                      .out = request.out};
  for (const fs::path& file : request.templates) {
    auto body = read_body_template(file);
    if (!body) return tl::unexpected(body.error());
    order.templates.push_back(std::move(*body));
  }
  const int lens_count =
      order.templates.empty() ? 2 : order.templates.front().rig_template.rig().lens_count();
  auto shots = list_shots(request.shots, request.grouping, lens_count, progress);
  if (!shots) return tl::unexpected(shots.error());
  order.shots = std::move(*shots);
  return order;
}

}  // namespace seamwright
