#pragma once

#include <cmath>

#include "tests/brackets/synthetic_brackets.h"

namespace seamwright::test {

inline constexpr int kRoomWidth_px = 320;
inline constexpr int kRoomHeight_px = 220;
/// Rows where the ball rolls.
inline constexpr int kBallTop_px = 105;
inline constexpr int kBallBottom_px = 175;

inline double papered_wall(double u, double v, int channel) {
  const double tint = channel == 0 ? 1.0 : channel == 1 ? 0.9 : 0.7;
  return tint * (0.12 + 0.04 * std::sin(0.31 * u) * std::cos(0.23 * v));
}

/// A papered wall, a window, and a textured ball that is somewhere else in each frame; `centre_u`
/// is where.
inline Radiance room_with_ball(double centre_u) {
  return [centre_u](double u, double v, int channel) {
    if (std::hypot(u - 70, v - 60) < 30) return 5.0;  // a window
    const double du = u - centre_u;
    const double dv = v - 140;
    if (std::hypot(du, dv) > 26) return papered_wall(u, v, channel);
    return 0.35 + 0.1 * std::sin(0.5 * du) * std::sin(0.4 * dv) + 0.05 * channel;
  };
}

}  // namespace seamwright::test
