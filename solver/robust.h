#pragma once

#include <cmath>

namespace seamwright {

/// Cauchy cost c² log(1 + s/c²) of a squared whitened residual s; s itself for c = 0.
[[nodiscard]] inline double robust_cost(double s, double scale) {
  const double c2 = scale * scale;
  return c2 > 0 ? c2 * std::log1p(s / c2) : s;
}

/// Its slope: the weight of the residual.
[[nodiscard]] inline double robust_weight(double s, double scale) {
  const double c2 = scale * scale;
  return c2 > 0 ? 1.0 / (1.0 + s / c2) : 1.0;
}

}  // namespace seamwright
