#include "templates/template_keys.h"

#include <fmt/format.h>

#include "projection/lens.h"

namespace seamwright {

std::vector<std::string> lens_keys(const PupilUnit& unit) {
  std::vector<std::string> keys = {"curve"};
  keys.insert(keys.end(), kLensTermNames.begin(), kLensTermNames.end());
  for (const char* key : {"theta_max_deg", "rotation_deg"}) keys.emplace_back(key);
  keys.push_back(unit.pupil_key());
  keys.push_back(unit.travel_key());
  for (const char* key : {"fringe_red", "fringe_blue", "vignetting"}) keys.emplace_back(key);
  return keys;
}

std::vector<std::string> quality_keys() {
  return {"shots",
          "ties",
          "ties_rejected",
          "rms_px",
          "max_px",
          "inlier_share",
          "residual_spread",
          "expected_seam_along_px",
          "expected_seam_across_px",
          "flex_sigma_deg"};
}

std::set<std::string> covariance_term_names(int lens_count) {
  std::set<std::string> names;
  for (int lens = 0; lens < lens_count; ++lens) {
    for (const std::string_view term : kLensTermNames) {
      names.insert(fmt::format("lens{}.{}", lens, term));
    }
    for (const char axis : {'x', 'y', 'z'}) {
      names.insert(fmt::format("lens{}.rotation_{}_rad", lens, axis));
      names.insert(fmt::format("lens{}.pupil_{}", lens, axis));
    }
    names.insert(fmt::format("lens{}.pupil_travel", lens));
  }
  return names;
}

}  // namespace seamwright
