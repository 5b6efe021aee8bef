#include "solver/ring_directions.h"

#include <cmath>

namespace seamwright {

namespace {

// cos of the half field of view that is left inside the margin: a comparison of cosines spares an
// arc cosine a sample.
double cos_of_field(const MountedLens& mounted, double margin_rad) {
  return std::cos(mounted.lens.theta_max_rad - margin_rad);
}

Vec3 axis_of(const MountedLens& mounted) { return mounted.rig_from_lens * Vec3::UnitZ(); }

bool fields_meet(const MountedLens& a, const MountedLens& b) {
  return angle_between(axis_of(a), axis_of(b)) < a.lens.theta_max_rad + b.lens.theta_max_rad;
}

}  // namespace

std::optional<SharedColatitudes> shared_colatitudes(const Rig& rig, int a, int b, double psi_rad,
                                                    double margin_rad) {
  const MountedLens& lens_a = rig.lenses[static_cast<std::size_t>(a)];
  const MountedLens& lens_b = rig.lenses[static_cast<std::size_t>(b)];
  if (!fields_meet(lens_a, lens_b)) return std::nullopt;
  const RibbonAxes axes = RibbonAxes::of_pair(rig, a, b);
  const Vec3 axis_a = axis_of(lens_a);
  const Vec3 axis_b = axis_of(lens_b);
  const double least_a = cos_of_field(lens_a, margin_rad);
  const double least_b = cos_of_field(lens_b, margin_rad);
  std::optional<SharedColatitudes> shared;
  for (int degree = 0; degree <= 180; ++degree) {
    const double eta_rad = rad_from_deg(degree);
    const Vec3 direction = axes.direction({psi_rad, eta_rad});
    if (direction.dot(axis_a) < least_a || direction.dot(axis_b) < least_b) continue;
    if (!shared) shared = SharedColatitudes{eta_rad, eta_rad};
    shared->end_rad = eta_rad;
  }
  return shared;
}

std::vector<RibbonAngles> ring_directions(const Rig& rig, int a, int b, int azimuths,
                                          int colatitudes, double margin_rad) {
  std::vector<RibbonAngles> directions;
  for (int i = 0; i < azimuths; ++i) {
    const double psi_rad = (i + 0.5) / azimuths * 2 * kPi - kPi;
    const auto shared = shared_colatitudes(rig, a, b, psi_rad, margin_rad);
    if (!shared) continue;
    for (int j = 0; j < colatitudes; ++j) {
      const double share = (j + 0.5) / colatitudes;
      directions.push_back(
          {psi_rad, shared->begin_rad + share * (shared->end_rad - shared->begin_rad)});
    }
  }
  return directions;
}

}  // namespace seamwright
