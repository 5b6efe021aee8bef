#include "compose/blend_weights.h"

#include <algorithm>
#include <cstddef>

namespace seamwright {

namespace {

// 0 below −1, 1 above 1, two continuous derivatives; step(x) + step(−x) = 1.
double smooth_step(double x) {
  const double t = std::clamp(0.5 * (x + 1.0), 0.0, 1.0);
  return t * t * t * (t * (6.0 * t - 15.0) + 10.0);
}

}  // namespace

void BlendWeights::at(std::span<const double> margins_rad, std::span<double> shares) const {
  double sum = 0;
  for (std::size_t i = 0; i < margins_rad.size(); ++i) {
    shares[i] = margins_rad[i] > 0 ? 1.0 : 0.0;
    for (std::size_t j = 0; j < margins_rad.size() && shares[i] > 0; ++j) {
      if (j == i || margins_rad[j] <= 0) continue;
      // Crossing the seam by an angle changes the difference of margins by twice that angle.
      const double half_overlap = 0.5 * (margins_rad[i] + margins_rad[j]);
      const double half_width = std::min(half_width_rad_, 0.9 * half_overlap);
      shares[i] *= smooth_step((margins_rad[i] - margins_rad[j]) / (2.0 * half_width));
    }
    sum += shares[i];
  }
  if (sum > 0) {
    for (double& share : shares) share /= sum;
  }
}

}  // namespace seamwright
