#include "apps/cli/merge_report.h"

#include <string_view>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

namespace seamwright {

namespace {

std::string_view noise_origin(NoiseSource source) {
  switch (source) {
    case NoiseSource::given:
      return "as given";
    case NoiseSource::fitted:
      return "as measured";
    case NoiseSource::one_frame:
      return "as one frame shows it";
  }
  return "";
}

}  // namespace

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
                              noise_origin(report.noise_source), noise.shot[1], noise.read[1]));
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
          {"noise_is_fitted", report.noise_source == NoiseSource::fitted},
          {"moved_regions", report.moved_regions},
          {"moved_share", report.moved_share},
          {"clipped_share", report.clipped_share}};
}

}  // namespace seamwright
