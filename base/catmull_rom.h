#pragma once

#include <array>

namespace seamwright {

/// Weights of four even samples at a share t in [0, 1] of the way from the second to the third
/// (Catmull and Rom 1974).
[[nodiscard]] inline std::array<float, 4> catmull_rom(float t) {
  const float t2 = t * t;
  const float t3 = t2 * t;
  return {0.5F * (-t3 + 2 * t2 - t), 0.5F * (3 * t3 - 5 * t2 + 2), 0.5F * (-3 * t3 + 4 * t2 + t),
          0.5F * (t3 - t2)};
}

}  // namespace seamwright
