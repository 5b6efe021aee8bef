#pragma once

#include "projection/rig.h"

namespace seamwright {

/// Disparities (η_a − η_b, radians) that a lens pair can see: zero at infinity, largest for the
/// nearest object.
class DisparityRange {
 public:
  /// `nearest_m` in metric rigs; else `nearest_baselines` baselines of the first two lenses.
  DisparityRange(const Rig& rig, int lens_a, int lens_b, double nearest_m,
                 double nearest_baselines);

  /// Disparity of a point at colatitude η from the middle of the pupils and inverse distance ρ.
  [[nodiscard]] double at(double eta_rad, double inverse_distance) const;
  /// Disparity of the nearest object at the colatitude where it is largest.
  [[nodiscard]] double widest() const { return at(kPi / 2, nearest_inverse_); }
  /// Disparity of the nearest object, given where lens a sees it.
  [[nodiscard]] double nearest_seen_from_a(double eta_a_rad) const;

 private:
  double half_baseline_ = 0;
  double nearest_inverse_ = 0;
};

}  // namespace seamwright
