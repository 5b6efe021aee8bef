#pragma once

#include <cmath>

namespace seamwright {

/// Cubic convolution with a = −1/2 (Keys 1981, IEEE Trans. ASSP 29:1153–1160).
[[nodiscard]] inline double catmull_rom(double x) {
  x = std::abs(x);
  if (x >= 2) return 0;
  return x < 1 ? 1 + x * x * (1.5 * x - 2.5) : 2 + x * (-4 + x * (2.5 - 0.5 * x));
}

}  // namespace seamwright
