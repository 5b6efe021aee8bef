#pragma once

// The ribbon: one raster in which a lens pair's overlap is a rectified stereo pair.
//
// The pole is the direction from the pupil of lens b to the pupil of lens a. A direction has an
// azimuth ψ around the pole and a colatitude η from it. A point at any depth keeps its ψ in both
// lenses and moves only in η: seen from pupils at ±h along the pole, at inverse distance ρ from
// their midpoint, η_a − η_b = 2hρ sin η + O(h²ρ²) ≥ 0. So depth, matching and seams are
// one-dimensional here, and a residual splits into its *parallax* part (η, forgivable) and its
// *sideways* part (ψ: misalignment, not forgivable).

#include <optional>

#include "projection/rig.h"

namespace seamwright {

/// Azimuth ψ ∈ (−π, π] and colatitude η ∈ [0, π] around a pole.
struct RibbonAngles {
  double psi_rad = 0;
  double eta_rad = 0;
};

/// Orientation of a ribbon: its pole is +z, ψ is measured from its +x towards its +y.
class RibbonAxes {
 public:
  /// `pole` any length > 0, rig frame. ψ = 0 lies nearest to `zero` (default: the rig's +x).
  explicit RibbonAxes(const Vec3& pole, const Vec3& zero = Vec3::UnitX());

  /// Axes of the pair (a, b): along the pupil baseline, or along the difference of the optical
  /// axes where the baseline is shorter than a tenth of a millimetre.
  [[nodiscard]] static RibbonAxes of_pair(const Rig& rig, int a, int b);

  [[nodiscard]] RibbonAngles angles(const Vec3& direction_in_rig) const;
  [[nodiscard]] Vec3 direction(const RibbonAngles& angles) const;
  [[nodiscard]] const Mat3& ribbon_from_rig() const { return ribbon_from_rig_; }
  [[nodiscard]] Vec3 pole() const { return ribbon_from_rig_.row(2).transpose(); }
  /// Unit vectors, rig frame, of growing η (parallax) and of growing ψ (sideways) at a direction.
  [[nodiscard]] Vec3 parallax(const RibbonAngles& angles) const;
  [[nodiscard]] Vec3 sideways(const RibbonAngles& angles) const;
  /// The same as parallax() of a direction's angles, but 0 at the poles. For a direction d,
  /// cos δ · d + sin δ · parallax(d) has the same ψ and an η that is larger by δ.
  [[nodiscard]] Vec3 parallax(const Vec3& direction_in_rig) const;

 private:
  Mat3 ribbon_from_rig_;
};

/// The raster: x = (ψ − psi_begin) · px_per_rad, y = (η − eta_begin) · px_per_rad, continuous
/// pixels as in conventions.h.
struct RibbonGrid {
  RibbonAxes axes;
  double psi_begin_rad = -kPi;
  double eta_begin_rad = 0;
  double px_per_rad = 1;
  int width_px = 0;
  int height_px = 0;
  bool closed = false;  ///< width_px spans exactly 2π: x wraps

  [[nodiscard]] Vec3 direction(const Vec2& px) const;
  /// Raster position of a direction, x wrapped to [0, 2π · px_per_rad). May lie outside.
  [[nodiscard]] Vec2 position(const Vec3& direction_in_rig) const;
};

/// What the overlap of a lens pair is: the bounding range in ψ and η of directions that both see
/// at infinity, at least `margin_rad` inside both fields of view.
struct PairOverlap {
  int lens_a = 0;
  int lens_b = 1;
  RibbonGrid grid;
};

/// Empty where the two lenses share no directions. `px_per_rad` ≤ 0 means the pair's native peak.
/// The width of a closed ribbon is rounded to a multiple of 16 px and px_per_rad adapted to it.
[[nodiscard]] std::optional<PairOverlap> overlap_of(const Rig& rig, int a, int b,
                                                    double px_per_rad = 0, double margin_rad = 0);

/// The raster in which a pair is matched: native radial resolution, without the parts near the
/// ribbon's poles where it degenerates. `reach_rad` beyond the overlap on either side along the
/// ribbon, for a rig that may be wrong by so much there. Empty where the overlap is too small to
/// match.
[[nodiscard]] std::optional<RibbonGrid> matching_grid(const Rig& rig, int lens_a, int lens_b,
                                                      double margin_rad, double reach_rad = 0);

/// Colatitude of a row of the raster (continuous), and back.
[[nodiscard]] inline double eta_of_row(const RibbonGrid& grid, double y_px) {
  return grid.eta_begin_rad + y_px / grid.px_per_rad;
}
[[nodiscard]] inline double row_of_eta(const RibbonGrid& grid, double eta_rad) {
  return (eta_rad - grid.eta_begin_rad) * grid.px_per_rad;
}

}  // namespace seamwright
