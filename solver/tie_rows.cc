#include "solver/tie_rows.h"

#include <algorithm>
#include <cmath>

#include <Eigen/Cholesky>

#include "solver/robust.h"
#include "solver/tiny_solver.h"

namespace seamwright {

namespace {

// A tie by two tangent steps of its direction and its inverse depth, for Ceres' solver of small
// problems, which knows no loss: rows of the sights have a weight that stays. `Height` is the
// number of rows, or dynamic.
template <int Height>
struct PointProblem {
  using Scalar = double;
  enum { NUM_RESIDUALS = Height, NUM_PARAMETERS = 3 };

  const SeenTie& seen;
  TiePoint start;
  bool free_depth = true;
  double weight = 1;  // of the rows of sights
  Eigen::Matrix<double, 3, 2> tangent = tangent_basis(start.direction);

  [[nodiscard]] int NumResiduals() const { return seen.rows(); }

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
            weight * (seen.white[j] * sight_residual(seen.places[j], seen.tie.sights[j], point));
      }
      return true;
    }
    // Of the normalised sum by the steps.
    const Vec3 moved = start.direction + tangent * Vec2(x[0], x[1]);
    const Eigen::Matrix<double, 3, 2> turned =
        (tangent - point.direction * (point.direction.transpose() * tangent)) / moved.norm();
    Eigen::Map<Eigen::Matrix<double, Height, 3>> by(jacobian, NumResiduals(), 3);
    for (std::size_t j = 0; j < seen.tie.sights.size(); ++j) {
      const auto row = static_cast<Eigen::Index>(2 * j);
      const SightByPoint linear =
          linearise_point(seen.places[j], seen.tie.sights[j], seen.white[j], point);
      r.template segment<2>(row) = linear.residual;
      by.template block<2, 2>(row, 0) = linear.by_direction * turned;
      by.template block<2, 1>(row, 2) = linear.by_inverse_depth;
    }
    r.head(2 * sights) *= weight;
    by.topRows(2 * sights) *= weight;
    for (Eigen::Index row = 2 * sights; row < r.size(); ++row) {
      by.row(row) << 0, 0, beliefs[static_cast<std::size_t>(row - 2 * sights)].slope;
    }
    if (!free_depth) by.col(2).setZero();
    return true;
  }
};

double square_of_beliefs(const SeenTie& seen, const TiePoint& point) {
  double square = 0;
  const DepthBelief::Rows rows = seen.depth.rows_at(point.inverse_depth);
  for (const DepthBelief::Row& row : rows) square += row.value * row.value;
  return square;
}

double square_of_sights(const SeenTie& seen, const TiePoint& point) {
  double square = 0;
  for (std::size_t j = 0; j < seen.tie.sights.size(); ++j) {
    square +=
        (seen.white[j] * sight_residual(seen.places[j], seen.tie.sights[j], point)).squaredNorm();
  }
  return square;
}

// Least squares with one weight; returns the squares of the sights, unweighted.
template <int Height>
double settle_weighted(const SeenTie& seen, double weight, TiePoint& point,
                       const SettleOptions& options) {
  using Problem = PointProblem<Height>;
  const Problem problem{
      .seen = seen, .start = point, .free_depth = options.free_depth, .weight = std::sqrt(weight)};
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
  return std::max(0.0, 2 * solver.summary.final_cost - square_of_beliefs(seen, point)) / weight;
}

// Weights follow the point (iteratively reweighted least squares) until they stay. What is believed
// of the depth pulls against them; where nothing does, any weight leads to the same point.
template <int Height>
double settle_rows(const SeenTie& seen, TiePoint& point, const SettleOptions& options) {
  constexpr int kMostWeights = 6;
  constexpr double kStays = 1e-4;
  if (seen.depth.is_lost_with_sights()) {
    const double square = settle_weighted<Height>(seen, 1, point, options);
    return robust(square + square_of_beliefs(seen, point), seen.robust_scale).cost;
  }
  const bool pulled = seen.depth.count() > 0 && seen.robust_scale > 0;
  double weight = pulled ? robust(square_of_sights(seen, point), seen.robust_scale).weight : 1;
  for (int k = 0;; ++k) {
    const double square = settle_weighted<Height>(seen, weight, point, options);
    const Robust loss = robust(square, seen.robust_scale);
    const double beliefs = square_of_beliefs(seen, point);
    if (!pulled || beliefs == 0 || k == kMostWeights ||
        std::abs(loss.weight - weight) <= kStays * weight) {
      return loss.cost + beliefs;
    }
    weight = loss.weight;
  }
}

// `more` columns stand behind the residual's; sight j shifts the two from 2j on where they exist.
Rows all_rows_of(const SeenTie& seen, const TiePoint& point, const ColumnPlan& columns,
                 Eigen::Index more) {
  const Eigen::Index height = seen.rows();
  Rows rows = Rows::Zero(height, columns.count + 1 + more);
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
    if (more > 0) of_sight.middleCols<2>(columns.count + 1 + row) = -seen.white[j];
    if (!seen.places[j].between) continue;
    const ShotColumns own = columns.of(seen.tie.shot);
    if (own.pose >= 0) of_sight.middleCols<6>(own.pose) = linear.by_own_pose;
    if (there.pose >= 0) of_sight.middleCols<6>(there.pose) = linear.by_seen_pose;
  }
  const DepthBelief::Rows beliefs = seen.depth.rows_at(point.inverse_depth);
  Eigen::Index lost = row;
  for (std::size_t k = 0; row < height; ++k, ++row) {
    rows(row, columns.count) = beliefs[k].value;
    by_point(row, 2) = beliefs[k].slope;
  }
  if (seen.depth.is_lost_with_sights()) lost = height;
  const double square = rows.col(columns.count).head(lost).squaredNorm();
  const double weight = std::sqrt(robust(square, seen.robust_scale).weight);
  rows.topRows(lost) *= weight;
  by_point.topRows(lost) *= weight;
  return taken_out(std::move(by_point), std::move(rows));
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
  return all_rows_of(seen, point, columns, 0);
}

Rows rows_with_shifts(const SeenTie& seen, const TiePoint& point, const ColumnPlan& columns) {
  return all_rows_of(seen, point, columns, static_cast<Eigen::Index>(2 * seen.tie.sights.size()));
}

}  // namespace seamwright
