#pragma once

#include "compose/blend_weights.h"
#include "compose/seam_plan.h"
#include "seams/ribbon_corners.h"

namespace seamwright {

/// What was planned for a pair, read between the ribbon's pixels. Keeps a reference to the plan.
/// Thread-safe.
class PairField {
 public:
  PairField(const PairSeam& seam, double panorama_px_per_rad);

  /// A direction in the pair's ribbon.
  struct Place {
    RibbonAngles angles;
    double row_px = 0;      ///< continuous row of the ribbon's raster
    RibbonCorners corners;  ///< what its rasters are read with
    float strength = 0;     ///< of the walk
  };

  [[nodiscard]] std::size_t lens_a() const { return static_cast<std::size_t>(seam_.lens_a); }
  [[nodiscard]] std::size_t lens_b() const { return static_cast<std::size_t>(seam_.lens_b); }
  [[nodiscard]] bool has(std::size_t lens) const { return lens == lens_a() || lens == lens_b(); }

  /// True where something within `reach_rad` of a direction may differ from what the lenses show
  /// at infinity.
  [[nodiscard]] bool touches(const Vec3& direction, double reach_rad) const;
  [[nodiscard]] Place place(const Vec3& direction) const { return place(axes().angles(direction)); }
  [[nodiscard]] Place place(const RibbonAngles& angles) const;

  /// By how much the colatitude must be changed to read a lens of the pair.
  [[nodiscard]] double shift_rad(std::size_t lens, const Place& at) const;
  /// The seam between the two: a sharp step at the path, as strong as the walk.
  [[nodiscard]] PairStep step(const Place& at) const;
  /// How much of a place each lens shows, 0…1: less where something hides it.
  struct Shown {
    double by_a = 1;
    double by_b = 1;

    /// Lens a's share of `share_a` and `share_b` when what a lens does not show is the other's.
    [[nodiscard]] double share_of_a(double share_a, double share_b) const {
      return by_a == by_b ? share_a : share_a * by_a + share_b * (1 - by_b);
    }
  };
  [[nodiscard]] Shown shown(const Place& at) const;
  /// What the blend makes of a lens' light.
  [[nodiscard]] LensTone tone(std::size_t lens, const Place& at) const;

  [[nodiscard]] const RibbonAxes& axes() const { return seam_.warp.grid.axes; }
  [[nodiscard]] double px_per_rad() const { return seam_.warp.grid.px_per_rad; }

 private:
  const PairSeam& seam_;
  // The warp's rasters, whole rows one after the other.
  std::size_t width_;
  const float* shift_a_;
  const float* shift_b_;
  const std::uint8_t* seen_by_;
  double feather_px_;  // full width of the step, ribbon px
};

}  // namespace seamwright
