#pragma once

#include <algorithm>

namespace seamwright {

/// 0 for x ≤ 0, 1 for x ≥ 1, level at both ends: one continuous derivative.
[[nodiscard]] inline double level_step(double t) {
  t = std::clamp(t, 0.0, 1.0);
  return t * t * (3 - 2 * t);
}

/// The same with two continuous derivatives.
[[nodiscard]] inline double smooth_step(double t) {
  t = std::clamp(t, 0.0, 1.0);
  return t * t * t * (t * (6 * t - 15) + 10);
}

}  // namespace seamwright
