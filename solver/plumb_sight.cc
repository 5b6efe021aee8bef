#include "solver/plumb_sight.h"

#include <cmath>
#include <limits>

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>

#include "solver/robust.h"
#include "solver/sight.h"
#include "solver/tiny_solver.h"

namespace seamwright {

namespace {

constexpr double kNone = std::numeric_limits<double>::quiet_NaN();

// The unit vector most nearly perpendicular to all directions.
Vec3 pole_of(const std::vector<SeenLine::Point>& points) {
  Mat3 moments = Mat3::Zero();
  for (const SeenLine::Point& point : points) {
    moments += point.direction * point.direction.transpose();
  }
  return Eigen::SelfAdjointEigenSolver<Mat3>(moments).eigenvectors().col(0);
}

LinearPlumbPoint linearised(const Lens& lens, const SeenLine::Point& point, const Vec3& normal) {
  LinearPlumbPoint out = linearise_plumb_point(lens, point.seen.px, point.direction, normal);
  out.residual /= point.seen.sigma_px;
  out.by_terms /= point.seen.sigma_px;
  out.by_normal /= point.seen.sigma_px;
  return out;
}

// A line by two tangent steps of its normal, for Ceres' solver of small problems. The square of a
// residual is what the point costs.
struct LineProblem {
  using Scalar = double;
  enum { NUM_RESIDUALS = Eigen::Dynamic, NUM_PARAMETERS = 2 };

  const Lens& lens;
  const SeenLine& line;
  double robust_scale;
  Vec3 start;
  Eigen::Matrix<double, 3, 2> tangent = tangent_basis(start);

  [[nodiscard]] int NumResiduals() const { return static_cast<int>(line.points.size()); }
  [[nodiscard]] Vec3 at(const double* x) const {
    return (start + tangent * Vec2(x[0], x[1])).normalized();
  }
  bool operator()(const double* x, double* residuals, double* jacobian) const {
    const Vec3 normal = at(x);
    for (std::size_t j = 0; j < line.points.size(); ++j) {
      const LinearPlumbPoint point = linearised(lens, line.points[j], normal);
      const Robust loss = robust(point.residual * point.residual, robust_scale);
      const double root = std::copysign(std::sqrt(loss.cost), point.residual);
      const double slope = root == 0 ? 1 : loss.weight * point.residual / root;
      residuals[j] = root;
      if (jacobian == nullptr) continue;
      const Eigen::RowVector2d by = slope * point.by_normal * tangent;
      jacobian[j] = by[0];
      jacobian[line.points.size() + j] = by[1];
    }
    return true;
  }
};

}  // namespace

LinearPlumbPoint linearise_plumb_point(const Lens& lens, const Vec2& px, const Vec3& near,
                                       const Vec3& normal) {
  constexpr int kIterations = 8;
  constexpr double kEnough_rad = 1e-12;
  Vec3 foot = (near - normal * normal.dot(near)).normalized();
  LensSlopes slopes = lens.slopes_at(foot);
  for (int i = 0; i < kIterations; ++i) {
    const Vec3 ahead = normal.cross(foot);
    const Vec2 along = slopes.by_direction * ahead;
    const double step = along.dot(px - slopes.px) / along.squaredNorm();
    if (!(std::abs(step) > kEnough_rad)) break;
    foot = (foot + step * ahead).normalized();
    slopes = lens.slopes_at(foot);
  }
  const Vec2 along = (slopes.by_direction * normal.cross(foot)).normalized();
  const Vec2 lifted = slopes.by_direction * normal;
  Vec2 across(-along.y(), along.x());
  if (across.dot(lifted) < 0) across = -across;
  LinearPlumbPoint out;
  out.residual = across.dot(px - slopes.px);
  out.by_terms = -across.transpose() * slopes.by_terms;
  out.by_normal = across.dot(lifted) * foot.transpose();
  return out;
}

std::vector<double> plumb_residuals_px(const Lens& lens, const PlumbLine& line,
                                       const Vec3& normal) {
  std::vector<double> residuals;
  for (const PlumbPoint& point : line.points) {
    const auto direction = lens.unproject(point.px);
    residuals.push_back(
        direction ? linearise_plumb_point(lens, point.px, *direction, normal).residual : kNone);
  }
  return residuals;
}

std::vector<SeenLine> see_lines(const Rig& start, std::span<const PlumbLine> lines) {
  std::vector<SeenLine> all;
  for (const PlumbLine& line : lines) {
    SeenLine seen{.lens = line.lens};
    const Lens& lens = start.lenses[static_cast<std::size_t>(line.lens)].lens;
    for (const PlumbPoint& point : line.points) {
      const auto direction = lens.unproject(point.px);
      if (direction) seen.points.push_back({point, *direction});
    }
    if (seen.points.size() < 3) seen.points.clear();  // any two points lie on a great circle
    if (!seen.points.empty()) seen.normal = pole_of(seen.points);
    all.push_back(std::move(seen));
  }
  return all;
}

double settle(const Lens& lens, const SeenLine& line, double robust_scale, Vec3& normal) {
  const LineProblem problem{lens, line, robust_scale, normal};
  ceres::TinySolver<LineProblem> solver;
  solver.options.max_num_iterations = 6;
  solver.options.gradient_tolerance = 1e-5;
  solver.options.function_tolerance = 1e-8;
  solver.options.parameter_tolerance = 1e-13;
  solver.options.cost_threshold = 0;
  solver.options.initial_trust_region_radius = 1e12;
  Vec2 x = Vec2::Zero();
  solver.Solve(problem, &x);
  if (x.allFinite()) normal = problem.at(x.data());
  return 2 * solver.summary.final_cost;
}

Rows rows_of(const Lens& lens, const SeenLine& line, double robust_scale, const Vec3& normal,
             const ColumnPlan& columns) {
  const auto height = static_cast<Eigen::Index>(line.points.size());
  Rows rows = Rows::Zero(height, columns.count + 1);
  Eigen::MatrixX2d by_normal(height, 2);
  const Eigen::Matrix<double, 3, 2> tangent = tangent_basis(normal);
  for (Eigen::Index j = 0; j < height; ++j) {
    const LinearPlumbPoint point =
        linearised(lens, line.points[static_cast<std::size_t>(j)], normal);
    const double weight = std::sqrt(robust(point.residual * point.residual, robust_scale).weight);
    rows(j, columns.count) = weight * point.residual;
    by_normal.row(j) = weight * point.by_normal * tangent;
    for (const int slot : columns.terms.free_slots(line.lens)) {
      if (slot >= kLensTermCount) continue;
      rows(j, columns.terms.column(line.lens, slot)) = weight * point.by_terms[slot];
    }
  }
  return taken_out(std::move(by_normal), std::move(rows));
}

}  // namespace seamwright
