#pragma once

#include <optional>

#include "projection/rig.h"

namespace seamwright {

/// Which pixel of a lens' frame shows a direction of the panorama, and how far inside the lens'
/// field that direction is. Directions are at infinity: pupils do not enter. A parallax-aware warp
/// belongs here, between the direction asked for and the direction projected; everything above sees
/// only directions in and source pixels out. Thread-safe.
class LensMap {
 public:
  explicit LensMap(const MountedLens& mounted);

  [[nodiscard]] const Lens& lens() const { return mounted_.lens; }

  /// Source pixel (of green) of a direction in the rig; empty outside the field of view or the
  /// frame.
  [[nodiscard]] std::optional<Vec2> source_px(const Vec3& direction_in_rig) const;

  /// Angle from a direction to where the lens' picture ends: its rim, or the frame's border where
  /// that is nearer. Negative outside. Changes by at most the angle moved.
  [[nodiscard]] double margin_rad(const Vec3& direction_in_rig) const;

  /// Where red (0), green (1) or blue (2) of the green source pixel `px` lies: FringeTerms.
  [[nodiscard]] Vec2 colour_px(const Vec2& px, int colour) const;
  [[nodiscard]] bool has_fringes() const { return has_fringes_; }

  /// Relative brightness in linear light at a source pixel: VignettingTerms; held above 0.05.
  [[nodiscard]] double brightness(const Vec2& px) const;

  /// Pixels per radian, the mean over the field (to 90°) of the geometric mean of radial and
  /// tangential: tells how much a smaller panorama has to smooth.
  [[nodiscard]] double typical_px_per_rad() const;

 private:
  MountedLens mounted_;
  Quat lens_from_rig_;
  double px_per_rad_ = 1;  // largest anywhere: turns a distance to the border into an angle
  double rim_radius_px_ = 1;
  bool has_fringes_ = false;
};

}  // namespace seamwright
