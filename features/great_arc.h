#pragma once

// An arc that is nearly a piece of a great circle.
//
// In a lens model that is still a little wrong, straight edges bow. What is left of that after the
// best great circle is taken out is a smooth curve of low order, here a parabola; an arc that needs
// more, or too strong a one, is no straight edge.

#include <algorithm>
#include <cmath>
#include <optional>
#include <span>

#include "projection/conventions.h"

namespace seamwright {

/// A direction d lies at `along` = atan2(d·ahead, d·middle) on the circle and asin(d·normal) beside
/// it, to the side of `normal`.
struct GreatArc {
  Vec3 middle = Vec3::UnitZ();
  Vec3 ahead = Vec3::UnitX();
  Vec3 normal = Vec3::UnitY();
  Vec3 bow = Vec3::Zero();  ///< c0, c1, c2 of h = c0 + c1 s + c2 s², rad
  double from_rad = 0;      ///< its ends along the circle
  double to_rad = 0;

  /// Least squares over at least three unit directions within a half circle; empty when they do
  /// not span an arc. `weights`: one a direction, or none. `ahead` points from the first direction
  /// to the last.
  [[nodiscard]] static std::optional<GreatArc> fitted(std::span<const Vec3> directions,
                                                      std::span<const double> weights = {});

  [[nodiscard]] double length_rad() const { return to_rad - from_rad; }
  [[nodiscard]] double along(const Vec3& direction) const {
    return std::atan2(direction.dot(ahead), direction.dot(middle));
  }
  /// How far beside the bowed arc a direction lies, rad.
  [[nodiscard]] double beside(const Vec3& direction) const {
    return std::asin(std::clamp(direction.dot(normal), -1.0, 1.0)) - height(along(direction));
  }
  [[nodiscard]] double height(double along_rad) const {
    return bow[0] + along_rad * (bow[1] + along_rad * bow[2]);
  }
  /// The bowed arc's own place.
  [[nodiscard]] Vec3 at(double along_rad) const {
    const double h = height(along_rad);
    return std::cos(h) * (std::cos(along_rad) * middle + std::sin(along_rad) * ahead) +
           std::sin(h) * normal;
  }
  /// Curvature against a great circle, 1/rad: a chord of length L bows by curvature · L² / 8.
  [[nodiscard]] double curvature() const { return 2 * std::abs(bow[2]); }
};

}  // namespace seamwright
