#include "projection/pupil_travel.h"

#include <cmath>

namespace seamwright {

Vec3 seen_past_travel(const Vec3& from_pupil, double inverse_depth, double travel) {
  if (travel == 0 || inverse_depth == 0) return from_pupil;
  // The travel depends on the angle it changes; it contracts by travel × inverse depth each turn.
  constexpr int kMostTurns = 50;
  constexpr double kEnough = 1e-14;
  Vec3 seen = from_pupil;
  for (int i = 0; i < kMostTurns; ++i) {
    const double theta = std::atan2(std::hypot(seen.x(), seen.y()), seen.z());
    const Vec3 next = from_pupil - Vec3(0, 0, inverse_depth * travel * theta * theta);
    const double moved = (next - seen).norm();
    seen = next;
    if (moved < kEnough) break;
  }
  return seen;
}

}  // namespace seamwright
