#include "sampling/lens_map.h"

#include <algorithm>
#include <cmath>

namespace seamwright {

namespace {

double border_distance_px(const Lens& lens, const Vec2& px) {
  return std::min({px.x(), px.y(), lens.width_px - px.x(), lens.height_px - px.y()});
}

// Largest px per radian in any direction, the tangential stretch beyond 90° included.
double steepest_px_per_rad(const Lens& lens) {
  const double theta = lens.theta_max_rad;
  const double tangential = lens.terms[kFocal] * lens.radius(theta) / std::sin(theta);
  // Affine and decentring terms are small; 5 % covers those that are plausible.
  return 1.05 * std::max(lens.peak_px_per_rad(), tangential);
}

}  // namespace

LensMap::LensMap(const MountedLens& mounted)
    : mounted_(mounted),
      lens_from_rig_(mounted.rig_from_lens.conjugate()),
      px_per_rad_(steepest_px_per_rad(mounted.lens)),
      rim_radius_px_(mounted.lens.rim_radius_px()),
      has_fringes_(!(mounted.lens.red == FringeTerms{} && mounted.lens.blue == FringeTerms{})) {}

std::optional<Vec2> LensMap::source_px(const Vec3& direction_in_rig) const {
  auto px = mounted_.lens.project(lens_from_rig_ * direction_in_rig);
  if (px && border_distance_px(mounted_.lens, *px) < 0) px.reset();
  return px;
}

double LensMap::margin_rad(const Vec3& direction_in_rig) const {
  const Vec3 d = lens_from_rig_ * direction_in_rig;
  const double to_rim = mounted_.lens.theta_max_rad - std::atan2(std::hypot(d.x(), d.y()), d.z());
  const auto px = mounted_.lens.project(d);
  if (!px) return std::min(to_rim, 0.0);
  return std::min(to_rim, border_distance_px(mounted_.lens, *px) / px_per_rad_);
}

Vec2 LensMap::colour_px(const Vec2& px, int colour) const {
  if (colour == 1) return px;
  const FringeTerms& fringe = colour == 0 ? mounted_.lens.red : mounted_.lens.blue;
  const Vec2 centre = mounted_.lens.centre_px();
  const Vec2 offset = px - centre;
  return centre + fringe.scale(offset.norm() / rim_radius_px_) * offset;
}

double LensMap::brightness(const Vec2& px) const {
  const double r_hat = (px - mounted_.lens.centre_px()).norm() / rim_radius_px_;
  return std::max(mounted_.lens.vignetting.gain(r_hat), 0.05);
}

double LensMap::typical_px_per_rad() const {
  constexpr int kSteps = 90;
  const Lens& lens = mounted_.lens;
  const double reach = std::min(lens.theta_max_rad, kPi / 2);
  double sum = 0;
  for (int i = 0; i < kSteps; ++i) {
    const double theta = reach * (i + 0.5) / kSteps;
    sum += std::sqrt(lens.radius_slope(theta) * lens.radius(theta) / std::sin(theta));
  }
  return lens.terms[kFocal] * sum / kSteps;
}

}  // namespace seamwright
