#pragma once

// Circles through points: three of them, or many with outliers.

#include <algorithm>
#include <cstddef>
#include <optional>
#include <vector>

#include "projection/conventions.h"

namespace seamwright::rim {

struct Circle {
  Vec2 centre = Vec2::Zero();
  double radius = 0;

  double outside_by(const Vec2& px) const { return (px - centre).norm() - radius; }
};

/// The value below which `share` (0…1) of the values lie; at least one value.
template <class T>
[[nodiscard]] T quantile(std::vector<T> values, double share) {
  const auto at = static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), values.begin() + at, values.end());
  return values[static_cast<std::size_t>(at)];
}

/// Empty for three points on a line.
[[nodiscard]] std::optional<Circle> circle_through(const Vec2& a, const Vec2& b, const Vec2& c);

/// One Gauss–Newton step of the weighted geometric fit; false where the points do not determine a
/// circle.
[[nodiscard]] bool fit_step(const std::vector<Vec2>& points, const std::vector<double>& weights,
                            Circle& circle);

struct CircleFit {
  Circle circle;
  double residual_px = 0;  ///< weighted RMS distance
  int used = 0;            ///< points with weight
};

/// Iteratively reweighted with Tukey's biweight; its scale shrinks from `start_px` to the MAD.
/// Empty for fewer than twelve points near the start.
[[nodiscard]] std::optional<CircleFit> fit_circle(const std::vector<Vec2>& points, Circle start,
                                                  double start_px);

}  // namespace seamwright::rim
