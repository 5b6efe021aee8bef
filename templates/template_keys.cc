#include "templates/template_keys.h"

#include <algorithm>

#include <fmt/format.h>

namespace seamwright {

std::vector<std::string> lens_keys(const PupilUnit& unit, const LensTermNames& terms) {
  std::vector<std::string> keys = {"curve"};
  keys.insert(keys.end(), terms.begin(), terms.end());
  for (const char* key : {"theta_max_deg", "rotation_deg"}) keys.emplace_back(key);
  keys.push_back(unit.pupil_key());
  keys.push_back(unit.travel_key());
  for (const char* key : {"fringe_red", "fringe_blue", "vignetting"}) keys.emplace_back(key);
  return keys;
}

std::vector<std::string> quality_keys(const SeamErrorNames& seam) {
  return {"shots",
          "ties",
          "ties_rejected",
          "rms_px",
          "max_px",
          "inlier_share",
          "residual_spread",
          std::string(seam.parallax),
          std::string(seam.sideways),
          "flex_sigma_deg"};
}

std::set<std::string> covariance_term_names(int lens_count, const LensTermNames& terms) {
  std::set<std::string> names;
  for (int lens = 0; lens < lens_count; ++lens) {
    for (const std::string_view term : terms) {
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

std::string renamed_term(const std::string& name, const LensTermNames& from,
                         const LensTermNames& to) {
  const std::size_t term_at = name.find('.') + 1;  // 0 for a name without a lens
  const auto found = std::find(from.begin(), from.end(), std::string_view(name).substr(term_at));
  if (found == from.end()) return name;
  return name.substr(0, term_at) + std::string(to[static_cast<std::size_t>(found - from.begin())]);
}

}  // namespace seamwright
