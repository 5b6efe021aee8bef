#include "solver/behind_infinity.h"

#include <cstddef>

#include "solver/learned_noise.h"

namespace seamwright {

namespace {

// Three times what 0.05 degrees of flex do, and 1.4 px of frames of 2000 px.
constexpr double kClearly_rad = 0.003;

}  // namespace

double share_behind_infinity(const Rig& rig, std::span<const Tie> ties,
                             std::span<const TiePoint> points, std::span<const char> inlier) {
  std::size_t all = 0;
  std::size_t behind = 0;
  for (std::size_t i = 0; i < ties.size(); ++i) {
    if (inlier[i] == 0 || !points[i].usable || is_track(ties[i])) continue;
    const auto pupil = [&](std::size_t sight) -> const Vec3& {
      return rig.lenses[static_cast<std::size_t>(ties[i].sights[sight].lens)].pupil;
    };
    const double parallax_rad = points[i].inverse_depth * (pupil(0) - pupil(1)).norm();
    ++all;
    if (parallax_rad < -kClearly_rad) ++behind;
  }
  return all == 0 ? 0 : static_cast<double>(behind) / static_cast<double>(all);
}

}  // namespace seamwright
