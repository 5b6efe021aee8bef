#include "templates/number_ranges.h"

#include <algorithm>
#include <array>
#include <cctype>

#include "templates/shot_limits.h"
#include "templates/template_keys.h"

namespace seamwright {

namespace {

constexpr std::array kRanges = {
    // Template: a lens.
    NumberRange{"lenses.focal_px", "px", 1e-3, 1e7},
    NumberRange{"lenses.centre_u_px", "px", -1e7, 1e7},
    NumberRange{"lenses.centre_v_px", "px", -1e7, 1e7},
    NumberRange{"lenses.radial_1", "", -100, 100},
    NumberRange{"lenses.radial_2", "", -100, 100},
    NumberRange{"lenses.radial_3", "", -100, 100},
    NumberRange{"lenses.radial_4", "", -100, 100},
    NumberRange{"lenses.aspect", "", -10, 10},
    NumberRange{"lenses.shear", "", -10, 10},
    NumberRange{"lenses.decentre_u", "", -10, 10},
    NumberRange{"lenses.decentre_v", "", -10, 10},
    NumberRange{"lenses.theta_max_deg", "degrees", 0, 180},
    NumberRange{"lenses.rotation_deg", "degrees", -360, 360},
    // No body is larger: this catches millimetres.
    NumberRange{"lenses.pupil_m", "metres", -2, 2},
    NumberRange{"lenses.pupil_travel_m", "metres", -2, 2},
    NumberRange{"lenses.pupil_baselines", "baselines", -100, 100},
    NumberRange{"lenses.pupil_travel_baselines", "baselines", -100, 100},
    // Together they leave every colour's radius above 0.
    NumberRange{"lenses.fringe_red.a0", "", -0.3, 0.3},
    NumberRange{"lenses.fringe_red.a1", "", -0.3, 0.3},
    NumberRange{"lenses.fringe_red.a2", "", -0.3, 0.3},
    NumberRange{"lenses.fringe_blue.a0", "", -0.3, 0.3},
    NumberRange{"lenses.fringe_blue.a1", "", -0.3, 0.3},
    NumberRange{"lenses.fringe_blue.a2", "", -0.3, 0.3},
    NumberRange{"lenses.vignetting.v1", "", -100, 100},
    NumberRange{"lenses.vignetting.v2", "", -100, 100},
    NumberRange{"lenses.vignetting.v3", "", -100, 100},
    // Template: how sure it is. A variance of 1e12 px² is a spread of a million pixels.
    NumberRange{"covariance", "", -1e12, 1e12},
    NumberRange{"quality.rms_px", "px", 0, 1e6},
    NumberRange{"quality.max_px", "px", 0, 1e6},
    NumberRange{"quality.inlier_share", "", 0, 1},
    NumberRange{"quality.residual_spread", "", 0, 1e6},
    NumberRange{"quality.expected_seam_parallax_px", "px", 0, 1e9},
    NumberRange{"quality.expected_seam_sideways_px", "px", 0, 1e9},
    NumberRange{"quality.flex_sigma_deg", "degrees", 0, 180},
    // Shot.
    NumberRange{"brackets.ev", "stops", -30, 30},
    NumberRange{"manual_ties.sigma_px", "px", 1e-6, kMostTieSigma_px},
    NumberRange{"manual_ties.sights.u_px", "px", -1e7, 1e7},
    NumberRange{"manual_ties.sights.v_px", "px", -1e7, 1e7},
    NumberRange{"seam.reach_deg", "degrees", 1e-6, 90},
    NumberRange{"seam.path_deg", "degrees", -180, 180},
    NumberRange{"verticals.ends_deg", "degrees", -180, 180},
    // Shot: steps of a touch. Pupils have the unit of the template's.
    NumberRange{"touch.terms.focal_px", "px", -1e7, 1e7},
    NumberRange{"touch.terms.centre_u_px", "px", -1e7, 1e7},
    NumberRange{"touch.terms.centre_v_px", "px", -1e7, 1e7},
    NumberRange{"touch.terms.radial_1", "", -100, 100},
    NumberRange{"touch.terms.radial_2", "", -100, 100},
    NumberRange{"touch.terms.radial_3", "", -100, 100},
    NumberRange{"touch.terms.radial_4", "", -100, 100},
    NumberRange{"touch.terms.aspect", "", -10, 10},
    NumberRange{"touch.terms.shear", "", -10, 10},
    NumberRange{"touch.terms.decentre_u", "", -10, 10},
    NumberRange{"touch.terms.decentre_v", "", -10, 10},
    NumberRange{"touch.terms.rotation_x_deg", "degrees", -360, 360},
    NumberRange{"touch.terms.rotation_y_deg", "degrees", -360, 360},
    NumberRange{"touch.terms.rotation_z_deg", "degrees", -360, 360},
    NumberRange{"touch.terms.pupil_x", "", -100, 100},
    NumberRange{"touch.terms.pupil_y", "", -100, 100},
    NumberRange{"touch.terms.pupil_z", "", -100, 100},
    NumberRange{"touch.terms.pupil_travel", "", -100, 100},
    // Run, and its shots.
    NumberRange{"rest_s", "seconds", 0, 86400},
    NumberRange{"look.room_ev", "stops", 0, 2},
    NumberRange{"look.cast_ev", "stops", 0, 1},
    NumberRange{"look.warmer_ev", "stops", -1, 1},
    NumberRange{"brighter_ev", "stops", -8, 8},
    NumberRange{"local", "", 0, 1},
    NumberRange{"glow_removal", "", 0, 1},
    NumberRange{"middle_deg", "degrees", -360, 360},
    NumberRange{"compass_deg", "degrees", -360, 360},
    NumberRange{"cover_deg", "degrees", 0, 50},
    NumberRange{"plate_deg", "degrees", 0, 50},
    NumberRange{"shots.look.room_ev", "stops", 0, 2},
    NumberRange{"shots.look.cast_ev", "stops", 0, 1},
    NumberRange{"shots.look.warmer_ev", "stops", -1, 1},
    NumberRange{"shots.brighter_ev", "stops", -8, 8},
    NumberRange{"shots.local", "", 0, 1},
    NumberRange{"shots.glow_removal", "", 0, 1},
    NumberRange{"shots.middle_deg", "degrees", -360, 360},
    NumberRange{"shots.compass_deg", "degrees", -360, 360},
    NumberRange{"shots.cover_deg", "degrees", 0, 50},
    NumberRange{"shots.plate_deg", "degrees", 0, 50},
};

// What older versions of the files called it.
std::string_view name_now(std::string_view name) {
  if (name == "gap_s") return "rest_s";
  if (name == kFirstSeamErrorNames.parallax) return kSeamErrorNames.parallax;
  if (name == kFirstSeamErrorNames.sideways) return kSeamErrorNames.sideways;
  const auto* first = std::find(kFirstTermNames.begin(), kFirstTermNames.end(), name);
  if (first == kFirstTermNames.end()) return name;
  return kLensTermNames[static_cast<std::size_t>(first - kFirstTermNames.begin())];
}

}  // namespace

std::span<const NumberRange> number_ranges() { return kRanges; }

std::string range_key(std::string_view field) {
  std::string key;
  for (std::size_t at = 0; at < field.size();) {
    std::size_t end = std::min(field.find('.', at), field.size());
    const std::string_view part = field.substr(at, end - at);
    at = end + 1;
    const bool of_lens = part.size() == 5 && part.starts_with("lens") &&
                         std::isdigit(static_cast<unsigned char>(part[4])) != 0;
    if (of_lens) continue;
    if (!key.empty()) key += '.';
    key += name_now(part.substr(0, part.find('[')));
  }
  return key;
}

NumberRange range_of(std::string_view field) {
  const std::string key = range_key(field);
  const auto* found = std::find_if(kRanges.begin(), kRanges.end(),
                                   [&](const NumberRange& range) { return range.key == key; });
  return found == kRanges.end() ? NumberRange{"", "", -1e9, 1e9} : *found;
}

}  // namespace seamwright
