#include "solver/tie_rows.h"

#include <cmath>

#include <Eigen/Cholesky>
#include <ceres/tiny_solver.h>

#include "solver/robust.h"

namespace seamwright {

namespace {

// A tie by two tangent steps of its direction and its inverse depth, for Ceres' solver of small
// problems, which knows no loss: rows of the sights are shortened until their squares are what the
// loss makes of them, and their derivatives so that the gradient is its gradient. `Height` is the
// number of rows, or dynamic.
template <int Height>
struct PointProblem {
  using Scalar = double;
  enum { NUM_RESIDUALS = Height, NUM_PARAMETERS = 3 };

  const SeenTie& seen;
  TiePoint start;
  bool free_depth = true;
  double robust_scale = 0;
  Eigen::Matrix<double, 3, 2> tangent = tangent_basis(start.direction);

  [[nodiscard]] int NumResiduals() const { return seen.rows(); }

  struct Shortening {
    double of_rows = 1;
    double of_slopes = 1;
  };
  [[nodiscard]] Shortening shortening(double square) const {
    if (robust_scale <= 0 || square <= 0) return {};
    const Robust loss = robust(square, robust_scale);
    const double of_rows = std::sqrt(loss.cost / square);
    return {of_rows, loss.weight / of_rows};
  }

  [[nodiscard]] TiePoint at(const double* x) const {
    TiePoint point = start;
    point.direction = (start.direction + tangent * Vec2(x[0], x[1])).normalized();
    if (free_depth) point.inverse_depth += x[2];
    return point;
  }

  bool operator()(const double* x, double* residuals, double* jacobian) const {
    const TiePoint point = at(x);
    Eigen::Map<Eigen::Matrix<double, Height, 1>> r(residuals, NumResiduals());
    const DepthBelief::Rows beliefs = seen.depth.rows_at(point.inverse_depth);
    const auto sights = static_cast<Eigen::Index>(seen.tie.sights.size());
    for (Eigen::Index row = 2 * sights; row < r.size(); ++row) {
      r[row] = beliefs[static_cast<std::size_t>(row - 2 * sights)].value;
    }
    if (jacobian == nullptr) {
      for (std::size_t j = 0; j < seen.tie.sights.size(); ++j) {
        r.template segment<2>(static_cast<Eigen::Index>(2 * j)) =
            seen.white[j] * sight_residual(seen.places[j], seen.tie.sights[j], point);
      }
      r.head(2 * sights) *= shortening(r.head(2 * sights).squaredNorm()).of_rows;
      return true;
    }
    // Of the normalised sum by the steps.
    const Vec3 moved = start.direction + tangent * Vec2(x[0], x[1]);
    const Eigen::Matrix<double, 3, 2> turned =
        (tangent - point.direction * (point.direction.transpose() * tangent)) / moved.norm();
    Eigen::Map<Eigen::Matrix<double, Height, 3>> by(jacobian, NumResiduals(), 3);
    for (std::size_t j = 0; j < seen.tie.sights.size(); ++j) {
      const auto row = static_cast<Eigen::Index>(2 * j);
      const PointSight linear =
          linearise_point(seen.places[j], seen.tie.sights[j], seen.white[j], point);
      r.template segment<2>(row) = linear.residual;
      by.template block<2, 2>(row, 0) = linear.by_direction * turned;
      by.template block<2, 1>(row, 2) = linear.by_inverse_depth;
    }
    const Shortening shorter = shortening(r.head(2 * sights).squaredNorm());
    r.head(2 * sights) *= shorter.of_rows;
    by.topRows(2 * sights) *= shorter.of_slopes;
    for (Eigen::Index row = 2 * sights; row < r.size(); ++row) {
      by.row(row) << 0, 0, beliefs[static_cast<std::size_t>(row - 2 * sights)].slope;
    }
    if (!free_depth) by.col(2).setZero();
    return true;
  }
};

template <int Height>
double settle_rows(const SeenTie& seen, TiePoint& point, const SettleOptions& options) {
  using Problem = PointProblem<Height>;
  // Where sights are all there is, the loss has the same minimum as their squares.
  const bool within = seen.depth.count() > 0;
  const Problem problem{.seen = seen,
                        .start = point,
                        .free_depth = options.free_depth,
                        .robust_scale = within ? seen.robust_scale : 0};
  ceres::TinySolver<Problem, Eigen::LLT<Mat3>> solver;
  solver.options.max_num_iterations = options.most_steps + 1;
  solver.options.gradient_tolerance = 0.1 * std::sqrt(options.enough);
  solver.options.function_tolerance = options.enough;
  solver.options.parameter_tolerance = 1e-13;
  solver.options.cost_threshold = 0;
  solver.options.initial_trust_region_radius = 1e12;  // points start near: steps are Gauss–Newton's
  Vec3 x = Vec3::Zero();
  solver.Solve(problem, &x);
  if (x.allFinite()) point = problem.at(x.data());
  const double left = 2 * solver.summary.final_cost;
  return within ? left : robust(left, seen.robust_scale).cost;
}

}  // namespace

double settle(const SeenTie& seen, TiePoint& point, const SettleOptions& options) {
  // Most ties are pairs: their rows have a size that is known before.
  switch (seen.rows()) {
    case 4:
      return settle_rows<4>(seen, point, options);
    case 5:
      return settle_rows<5>(seen, point, options);
    case 6:
      return settle_rows<6>(seen, point, options);
    default:
      return settle_rows<Eigen::Dynamic>(seen, point, options);
  }
}

Rows rows_of(const SeenTie& seen, const TiePoint& point, const ColumnPlan& columns) {
  const Eigen::Index height = seen.rows();
  Rows rows = Rows::Zero(height, columns.count + 1);
  Eigen::MatrixX3d by_point = Eigen::MatrixX3d::Zero(height, 3);
  const Eigen::Matrix<double, 3, 2> tangent = tangent_basis(point.direction);
  Eigen::Index row = 0;
  for (std::size_t j = 0; j < seen.tie.sights.size(); ++j, row += 2) {
    const TieSight& sight = seen.tie.sights[j];
    const LinearSight linear = linearise(seen.places[j], sight, seen.white[j], point);
    auto of_sight = rows.middleRows<2>(row);
    of_sight.col(columns.count) = linear.residual;
    by_point.block<2, 2>(row, 0) = linear.by_direction * tangent;
    by_point.block<2, 1>(row, 2) = linear.by_inverse_depth;
    for (const int slot : columns.terms.free_slots(sight.lens)) {
      of_sight.col(columns.terms.column(sight.lens, slot)) = linear.by_shared.col(slot);
    }
    const ShotColumns there = columns.of(seen.tie.shot_of(sight));
    if (there.flex >= 0 && sight.lens > 0) {
      of_sight.middleCols<3>(there.flex + 3 * (sight.lens - 1)) = linear.by_flex;
    }
    if (!seen.places[j].between) continue;
    const ShotColumns own = columns.of(seen.tie.shot);
    if (own.pose >= 0) of_sight.middleCols<6>(own.pose) = linear.by_own_pose;
    if (there.pose >= 0) of_sight.middleCols<6>(there.pose) = linear.by_seen_pose;
  }
  const double square = rows.col(columns.count).head(row).squaredNorm();
  const double weight = std::sqrt(robust(square, seen.robust_scale).weight);
  rows.topRows(row) *= weight;
  by_point.topRows(row) *= weight;
  const DepthBelief::Rows beliefs = seen.depth.rows_at(point.inverse_depth);
  for (std::size_t k = 0; row < height; ++k, ++row) {
    rows(row, columns.count) = beliefs[k].value;
    by_point(row, 2) = beliefs[k].slope;
  }
  return taken_out(std::move(by_point), std::move(rows));
}

}  // namespace seamwright
