#include "features/disparity.h"

#include <cmath>

namespace seamwright {

DisparityRange::DisparityRange(const Rig& rig, int lens_a, int lens_b, double nearest_m,
                               double nearest_baselines)
    : half_baseline_(0.5 * rig.baseline(lens_a, lens_b).norm()) {
  const double nearest = rig.metric ? nearest_m : nearest_baselines * rig.baseline(0, 1).norm();
  nearest_inverse_ = nearest > 0 ? 1 / nearest : 0;
}

double DisparityRange::at(double eta_rad, double inverse_distance) const {
  const double shift = half_baseline_ * inverse_distance;
  const double s = std::sin(eta_rad);
  const double c = std::cos(eta_rad);
  return std::atan2(s, c - shift) - std::atan2(s, c + shift);
}

double DisparityRange::nearest_seen_from_a(double eta_a_rad) const {
  double disparity = at(eta_a_rad, nearest_inverse_);
  for (int i = 0; i < 3; ++i) disparity = at(eta_a_rad - 0.5 * disparity, nearest_inverse_);
  return disparity;
}

}  // namespace seamwright
