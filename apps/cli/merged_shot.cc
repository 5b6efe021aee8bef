#include "apps/cli/merged_shot.h"

#include <array>
#include <cctype>
#include <cmath>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

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
           .remedy = "give all frames of the bracket; frames farther apart than --rest-s are "
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

std::string lens_suffix(const BracketSeries& series, std::size_t index) {
  const std::size_t space = series.lens.find_last_of(" /\\");
  std::string word = space == std::string::npos ? series.lens : series.lens.substr(space + 1);
  for (char& c : word) {
    if (std::isalnum(static_cast<unsigned char>(c)) == 0 && c != '-') c = '_';
  }
  return word.empty() ? fmt::format("{}", index) : word;
}

std::vector<std::string> merge_lines(const MergeReport& report) {
  std::vector<std::string> lines;
  for (const MergedExposure& exposure : report.exposures) {
    std::string line = fmt::format("  {}: {:+.3f} EV", exposure.file, exposure.measured_ev);
    if (exposure.sigma_ev > 0) {
      line += fmt::format(" (said {:+.2f}, sigma {:.4f})", exposure.nominal_ev, exposure.sigma_ev);
    }
    if (exposure.motion) {
      line += fmt::format(", moved back {:+.2f} {:+.2f} px and {:+.3f} degrees",
                          exposure.motion->shift_u_px, exposure.motion->shift_v_px,
                          exposure.motion->turn_rad * 57.29577951308232);
    }
    lines.push_back(line + fmt::format(", {:.2f} % clipped", 100 * exposure.clipped_share));
  }
  const NoiseModel& noise = report.noise;
  lines.push_back(fmt::format("  noise {}: variance {:.3g} x signal + {:.3g} (green)",
                              report.noise_is_fitted ? "as measured" : "as assumed", noise.shot[1],
                              noise.read[1]));
  lines.push_back(report.moved_regions == 0
                      ? std::string("  nothing moved")
                      : fmt::format("  {} regions ({:.2f} % of the picture) moved; each shows one "
                                    "moment",
                                    report.moved_regions, 100 * report.moved_share));
  return lines;
}

nlohmann::json merge_json(const MergeReport& report) {
  nlohmann::json exposures = nlohmann::json::array();
  for (const MergedExposure& exposure : report.exposures) {
    nlohmann::json one = {{"file", exposure.file},
                          {"nominal_ev", exposure.nominal_ev},
                          {"measured_ev", exposure.measured_ev},
                          {"sigma_ev", exposure.sigma_ev},
                          {"clipped_share", exposure.clipped_share}};
    if (exposure.motion) {
      one["motion"] = {{"shift_u_px", exposure.motion->shift_u_px},
                       {"shift_v_px", exposure.motion->shift_v_px},
                       {"turn_rad", exposure.motion->turn_rad}};
    }
    exposures.push_back(std::move(one));
  }
  return {{"exposures", exposures},
          {"reference", report.reference},
          {"noise", {{"shot", report.noise.shot}, {"read", report.noise.read}}},
          {"noise_is_fitted", report.noise_is_fitted},
          {"moved_regions", report.moved_regions},
          {"moved_share", report.moved_share},
          {"clipped_share", report.clipped_share}};
}

}  // namespace seamwright
