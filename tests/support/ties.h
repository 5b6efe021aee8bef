#pragma once

// Ties of a known scene seen by a known rig: exact, or with Gaussian noise of a stated size.

#include <cmath>
#include <functional>
#include <map>
#include <optional>
#include <tuple>
#include <vector>

#include "projection/ribbon.h"
#include "projection/tie.h"
#include "tests/support/random.h"
#include "tests/support/random_geometry.h"

namespace seamwright::test {

/// Distance of the scene from the rig's origin in a direction (rig frame), metres.
using Scene = std::function<double(const Vec3&)>;

/// Inside an axis-aligned box, the rig at `at` from its centre.
[[nodiscard]] inline Scene box_room(const Vec3& half_size_m, const Vec3& at, const Quat& heading) {
  return [=](const Vec3& direction_in_rig) {
    const Vec3 d = heading * direction_in_rig;
    double distance = 1e9;
    for (int axis = 0; axis < 3; ++axis) {
      if (d[axis] == 0) continue;
      const double wall = d[axis] > 0 ? half_size_m[axis] : -half_size_m[axis];
      distance = std::min(distance, (wall - at[axis]) / d[axis]);
    }
    return distance;
  };
}

/// Flat ground 1.5 m below, everything else at `far_m`.
[[nodiscard]] inline Scene open_yard(double far_m) {
  return [=](const Vec3& d) { return d.y() > 0 ? std::min(far_m, 1.5 / d.y()) : far_m; };
}

struct TieOptionsSynthetic {
  int per_pair = 200;
  double noise_px = 0;  ///< σ per coordinate; the ties claim max(noise_px, 1e-3)
  double margin_rad = rad_from_deg(0.5);
  TieRange range = TieRange::open;
  std::vector<Vec3> flex{};  ///< per lens, rad; empty for none
};

/// The rig with every lens turned by its flex.
[[nodiscard]] inline Rig flexed(Rig rig, const std::vector<Vec3>& flex) {
  for (std::size_t i = 0; i < flex.size(); ++i) {
    rig.lenses[i].rig_from_lens = quat_from_rotation_vector(flex[i]) * rig.lenses[i].rig_from_lens;
  }
  return rig;
}

/// Ties of one shot, spread over every overlapping pair.
[[nodiscard]] inline std::vector<Tie> synthetic_ties(Random& random, const Rig& body,
                                                     const Scene& scene, int shot,
                                                     const TieOptionsSynthetic& options) {
  const Rig rig = flexed(body, options.flex);
  const double sigma = std::max(options.noise_px, 1e-3);
  std::vector<Tie> ties;
  for (int a = 0; a < rig.lens_count(); ++a) {
    for (int b = a + 1; b < rig.lens_count(); ++b) {
      const auto overlap = overlap_of(body, a, b, 100, options.margin_rad);
      if (!overlap) continue;
      int found = 0;
      for (int attempt = 0; attempt < 50 * options.per_pair && found < options.per_pair;
           ++attempt) {
        const Vec3 direction =
            overlap->grid.direction({random.uniform(0, overlap->grid.width_px),
                                     random.uniform(0, overlap->grid.height_px)});
        const double inverse_depth = options.range == TieRange::far ? 0 : 1.0 / scene(direction);
        Tie tie{.shot = shot, .sights = {}, .range = options.range};
        for (const int lens : {a, b}) {
          const auto px =
              rig.lenses[static_cast<std::size_t>(lens)].project_point(direction, inverse_depth);
          if (!px) break;
          const Vec2 noise = options.noise_px > 0 ? Vec2(random.normal(options.noise_px),
                                                         random.normal(options.noise_px))
                                                  : Vec2(Vec2::Zero());
          tie.sights.push_back({lens, *px + noise, Mat2::Identity() * sigma * sigma});
        }
        if (tie.sights.size() < 2) continue;
        ties.push_back(std::move(tie));
        ++found;
      }
    }
  }
  return ties;
}

/// Shifts by what all sights of a patch share: a part of azimuth and angle off the axis, in one
/// shot. Its borders are not those of the solver's cells.
inline void shift_patches(Random& random, const Rig& body, double sigma_px,
                          std::vector<Tie>& ties) {
  std::map<std::tuple<int, int, int, int>, Vec2> shifts;
  for (Tie& tie : ties) {
    for (TieSight& sight : tie.sights) {
      const Lens& lens = body.lenses[static_cast<std::size_t>(sight.lens)].lens;
      const Vec2 off = sight.px - lens.centre_px();
      constexpr double kPatch_rad = 0.45;
      const auto azimuth = static_cast<int>(std::atan2(off.y(), off.x()) / kPatch_rad + 100);
      const auto out = static_cast<int>(3.3 * off.norm() / lens.rim_radius_px());
      const auto [at, is_new] =
          shifts.try_emplace({tie.shot_of(sight), sight.lens, azimuth, out}, Vec2::Zero());
      if (is_new) at->second = Vec2(random.normal(sigma_px), random.normal(sigma_px));
      sight.px += at->second;
    }
  }
}

}  // namespace seamwright::test
