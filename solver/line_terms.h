#pragma once

// Plumb lines in the adjustment.
//
// A line is a great circle of its lens: a unit normal n, lens frame, 2 unknowns. A point's residual
// is its distance from the circle's picture, px: with f the place on the circle that the lens shows
// nearest to the pixel u, and m the unit normal of the picture there,
//
//     r = mᵀ (u − π(f))         ∂r/∂terms = −mᵀ ∂π/∂terms        ∂r/∂n = (mᵀ ∂π/∂d n) fᵀ
//
// exactly, since f is where the distance is least. The normals are eliminated like ties' points;
// only terms of the line's lens are touched, whatever the body's flex or place.
//
// What lines cannot tell: every linear map of directions, d → A d, takes great circles to great
// circles. A lens whose angles are wrong by ε sin 2θ, by a squeeze or by a tilt shows straight
// edges as well as the true one. The ring at 90° is where that error vanishes.

#include <span>
#include <vector>

#include <Eigen/Core>

#include "projection/plumb_line.h"
#include "projection/rig.h"
#include "solver/shared_terms.h"

namespace seamwright {

/// A point of a line, linearised; px.
struct LinearPlumbPoint {
  double residual = 0;
  Eigen::Matrix<double, 1, kLensTermCount> by_terms;
  Eigen::RowVector2d by_normal;  ///< tangent_basis(normal) steps
};

/// `near`: a direction that the lens shows near `px`.
[[nodiscard]] LinearPlumbPoint linearise_plumb_point(const Lens& lens, const Vec2& px,
                                                     const Vec3& near, const Vec3& normal);

/// Distance of every point of a line from its great circle, px; NaN where the lens does not see the
/// point.
[[nodiscard]] std::vector<double> plumb_residuals_px(const Lens& lens, const PlumbLine& line,
                                                     const Vec3& normal);

class LineTerms {
 public:
  /// Points that `start` does not see are left out for good. `robust_scale` as AdjustOptions'.
  LineTerms(std::span<const PlumbLine> lines, const Rig& start, const SharedTerms& terms,
            double robust_scale);

  /// Best normals of the start rig, one a line.
  [[nodiscard]] std::vector<Vec3> start() const;

  [[nodiscard]] double cost(const Rig& rig, const std::vector<Vec3>& normals) const;
  /// Adds all lines to the normal equations of the shared terms (lower triangle) and keeps what a
  /// step of the normals needs.
  void add(const Rig& rig, const std::vector<Vec3>& normals, Eigen::MatrixXd& normal,
           Eigen::VectorXd& gradient);
  /// The normals that go with a step of the shared terms, refined for the rig that it leads to.
  [[nodiscard]] std::vector<Vec3> stepped(const Rig& to, const std::vector<Vec3>& normals,
                                          const Eigen::VectorXd& step) const;

 private:
  // A line's part of the normal equations.
  struct Sums {
    Eigen::MatrixXd terms;  // free terms of the lens
    Eigen::VectorXd gradient;
    Eigen::Matrix2Xd crossed;  // normal by terms
    Mat2 own = Mat2::Zero();
    Vec2 own_gradient = Vec2::Zero();
    [[nodiscard]] Mat2 damped_inverse() const;
  };
  struct Seen {
    Vec2 px = Vec2::Zero();
    double sigma_px = 1;
    Vec3 first = Vec3::Zero();  // its direction at the start
  };
  struct Line {
    int lens = 0;
    int column = -1;                // of the lens' first free term
    std::vector<int> free_terms{};  // of the lens, their columns following each other
    std::vector<Seen> points{};
    Sums eliminated{};
  };

  [[nodiscard]] double line_cost(const Line& line, const Lens& lens, const Vec3& normal) const;
  [[nodiscard]] Vec3 refined(const Line& line, const Lens& lens, const Vec3& normal) const;
  [[nodiscard]] Sums sums_of(const Line& line, const Lens& lens, const Vec3& normal) const;

  std::vector<Line> lines_;
  double robust_scale_;
};

}  // namespace seamwright
