#pragma once

// The geometry of one azimuth of a ribbon.
//
// All viewpoints lie on the pair's baseline, at a signed offset from the middle of the two pupils,
// positive towards lens a (the ribbon's pole): lens a at +h, the common view at 0, lens b at −h. A
// scene point at inverse distance ρ from the middle is seen under a colatitude η that depends on
// the viewpoint, and on nothing else. Everything here is exact for any depth beyond the baseline.

#include "projection/ribbon.h"

namespace seamwright {

/// Colatitude seen from offset `to_m` of what is seen under `eta_rad` from offset `from_m`, at
/// inverse distance `inverse_m` from the middle. Needs |offset| · ρ < 1. Offsets and distances in
/// the rig's unit.
[[nodiscard]] double eta_seen_from(double to_m, double from_m, double eta_rad, double inverse_m);

/// Inverse distance from the middle of what pupils at ±`half_m` see under `eta_a_rad` and
/// `eta_b_rad`; 0 where the rays do not meet in front of them.
[[nodiscard]] double inverse_distance(double half_m, double eta_a_rad, double eta_b_rad);

/// Half the distance between the pupils of a pair along the ribbon's pole. Pupils that travel are
/// taken where they stand for light from the ribbon's middle.
[[nodiscard]] double half_baseline(const MountedLens& a, const MountedLens& b,
                                   const RibbonGrid& grid);

/// Colatitude of a row of the raster (continuous), and back.
[[nodiscard]] inline double eta_of_row(const RibbonGrid& grid, double y_px) {
  return grid.eta_begin_rad + y_px / grid.px_per_rad;
}
[[nodiscard]] inline double row_of_eta(const RibbonGrid& grid, double eta_rad) {
  return (eta_rad - grid.eta_begin_rad) * grid.px_per_rad;
}

}  // namespace seamwright
