#pragma once

// Plumb lines in the adjustment.
//
// A line is a great circle of its lens: a unit normal n, lens frame, 2 unknowns. A point's residual
// is its distance from the circle's picture, px: with f the place on the circle that the lens shows
// nearest to the pixel u, and m the unit normal of the picture there,
//
//     r = mᵀ (u − π(f))         ∂r/∂terms = −mᵀ ∂π/∂terms        ∂r/∂n = (mᵀ ∂π/∂d n) fᵀ
//
// exactly, since f is where the distance is least. Only terms of the line's lens are touched,
// whatever the body's flex or place.
//
// What lines cannot tell: every linear map of directions, d → A d, takes great circles to great
// circles. A lens whose angles are wrong by ε sin 2θ, by a squeeze or by a tilt shows straight
// edges as well as the true one. The ring at 90° is where that error vanishes.

#include <span>
#include <vector>

#include <Eigen/Core>

#include "projection/plumb_line.h"
#include "projection/rig.h"
#include "solver/rows.h"

namespace seamwright {

/// A point of a line, linearised; px.
struct LinearPlumbPoint {
  double residual = 0;
  Eigen::Matrix<double, 1, kLensTermCount> by_terms;
  Eigen::RowVector3d by_normal;
};

/// `near`: a direction that the lens shows near `px`.
[[nodiscard]] LinearPlumbPoint linearise_plumb_point(const Lens& lens, const Vec2& px,
                                                     const Vec3& near, const Vec3& normal);

/// Distance of every point of a line from its great circle, px; NaN where the lens does not see the
/// point.
[[nodiscard]] std::vector<double> plumb_residuals_px(const Lens& lens, const PlumbLine& line,
                                                     const Vec3& normal);

/// A line with what a solve begins from.
struct SeenLine {
  struct Point {
    PlumbPoint seen{};
    Vec3 direction = Vec3::UnitZ();  ///< lens frame, by the start's lens
  };
  int lens = 0;
  std::vector<Point> points{};  ///< empty where the lens sees fewer than three of them
  Vec3 normal = Vec3::UnitZ();  ///< the best one of the start
};
[[nodiscard]] std::vector<SeenLine> see_lines(const Rig& start, std::span<const PlumbLine> lines);

/// Moves `normal` to where the points have it under Cauchy's loss of `robust_scale` sigmas; returns
/// what they cost there.
double settle(const Lens& lens, const SeenLine& line, double robust_scale, Vec3& normal);

/// What a settled line says of its lens, whatever its normal: two rows fewer than points.
[[nodiscard]] Rows rows_of(const Lens& lens, const SeenLine& line, double robust_scale,
                           const Vec3& normal, const ColumnPlan& columns);

}  // namespace seamwright
