#pragma once

// The geometry of one azimuth of a ribbon.
//
// All viewpoints lie on the pair's baseline, at a signed offset from the middle of the two pupils,
// positive towards lens a (the ribbon's pole): lens a at +h, the common view at 0, lens b at −h. A
// scene point at inverse distance ρ from the middle is seen under a colatitude η that depends on
// the viewpoint, and on nothing else. Everything here is exact for any depth beyond the baseline.

#include <algorithm>
#include <cmath>
#include <span>
#include <vector>

#include "projection/ribbon.h"

namespace seamwright {

/// A colatitude and what is needed of it to look from elsewhere: rows of a ribbon have few, and
/// each is looked under thousands of times.
struct Colatitude {
  double rad = 0;
  double sin = 0;
  double cos = 1;

  Colatitude() = default;
  explicit Colatitude(double eta_rad)
      : rad(eta_rad), sin(std::sin(eta_rad)), cos(std::cos(eta_rad)) {}
};

/// A point seen under a colatitude from offset `from_m`, at inverse distance `inverse_m` from the
/// middle. Needs |offset| · ρ < 1 for all offsets.
class RibbonPoint {
 public:
  RibbonPoint(double from_m, const Colatitude& seen, double inverse_m)
      : eta_rad_(seen.rad), sin_(seen.sin), cos_(seen.cos), from_m_(from_m), inverse_m_(inverse_m) {
    // Distance along the ray times ρ, from |from · pole + t · ray| = 1/ρ.
    const double across = from_m * inverse_m * sin_;
    reach_ = std::sqrt(std::max(0.0, 1 - across * across)) - from_m * inverse_m * cos_;
  }

  /// Colatitude under which the point is seen from offset `to_m`.
  [[nodiscard]] double eta_from(double to_m) const {
    const double moved = (from_m_ - to_m) * inverse_m_;
    return eta_rad_ + small_turn(-moved * sin_, reach_ + moved * cos_);
  }

 private:
  // atan2, by its series to 1e-14 where the angle is small, as it is for all but the very near.
  static double small_turn(double across, double ahead) {
    constexpr double kSmall = 0.15;
    if (!(std::abs(across) < kSmall * ahead)) return std::atan2(across, ahead);
    const double t = across / ahead;
    const double q = t * t;
    const double tail = 1.0 / 9 - q * (1.0 / 11 - q * (1.0 / 13 - q / 15));
    return t * (1 - q * (1.0 / 3 - q * (1.0 / 5 - q * (1.0 / 7 - q * tail))));
  }

  double eta_rad_;
  double sin_;
  double cos_;
  double from_m_;
  double inverse_m_;
  double reach_;
};

/// Colatitude seen from offset `to_m` of what is seen under `eta_rad` from offset `from_m`, at
/// inverse distance `inverse_m` from the middle. Needs |offset| · ρ < 1. Offsets and distances in
/// the rig's unit.
[[nodiscard]] double eta_seen_from(double to_m, double from_m, double eta_rad, double inverse_m);

/// By how much the colatitudes of a row of points, seen under one from offset `from_m`, differ from
/// it when seen from `to_m`: RibbonPoint for many, within 1e-7 rad. From an offset of each point's
/// own, or from one.
void turns_seen_from(const Colatitude& seen_under, const float* from_m, double to_m,
                     std::span<const float> inverse_m, float* turn_rad);
void turns_seen_from(const Colatitude& seen_under, double from_m, double to_m,
                     std::span<const float> inverse_m, float* turn_rad);

/// Inverse distance from the middle of what pupils at ±`half_m` see under `eta_a_rad` and
/// `eta_b_rad`; 0 where the rays do not meet in front of them.
[[nodiscard]] double inverse_distance(double half_m, double eta_a_rad, double eta_b_rad);

/// Colatitudes of the raster's row centres, top to bottom.
[[nodiscard]] std::vector<Colatitude> row_colatitudes(const RibbonGrid& grid);

/// Half the distance between the pupils of a pair along the ribbon's pole. Pupils that travel are
/// taken where they stand for light from the ribbon's middle.
[[nodiscard]] double half_baseline(const MountedLens& a, const MountedLens& b,
                                   const RibbonGrid& grid);

}  // namespace seamwright
