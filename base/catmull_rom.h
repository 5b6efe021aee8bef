#pragma once

#include <array>
#include <cmath>

namespace seamwright {

// The cubic through its samples: convolution with a = −1/2 (Keys 1981, IEEE Trans. ASSP
// 29:1153–1160), which is the spline of Catmull and Rom (1974). It repeats polynomials up to
// degree 2. Vector kernels have their own copies, and a test holds each against this one.

/// Weight of a sample at a distance, in samples; 0 from 2 on.
[[nodiscard]] inline double catmull_rom_weight(double distance) {
  const double x = std::abs(distance);
  if (x >= 2) return 0;
  return x < 1 ? 1 + x * x * (1.5 * x - 2.5) : 2 + x * (-4 + x * (2.5 - 0.5 * x));
}

/// The same weights of the four samples around a place, which lies a share `t` in [0, 1] of the way
/// from the second to the third.
[[nodiscard]] inline std::array<float, 4> catmull_rom(float t) {
  const float t2 = t * t;
  const float t3 = t2 * t;
  return {0.5F * (-t3 + 2 * t2 - t), 0.5F * (3 * t3 - 5 * t2 + 2), 0.5F * (-3 * t3 + 4 * t2 + t),
          0.5F * (t3 - t2)};
}

}  // namespace seamwright
