#include "solver/line_terms.h"

#include <cmath>
#include <cstddef>
#include <limits>
#include <numeric>

#include <Eigen/Dense>

#include "base/parallel.h"
#include "solver/robust.h"
#include "solver/sight.h"

namespace seamwright {

namespace {

constexpr double kDamping = 1e-9;
constexpr double kNone = std::numeric_limits<double>::quiet_NaN();

// The unit vector most nearly perpendicular to all directions.
Vec3 pole_of(const std::vector<Vec3>& directions) {
  Mat3 moments = Mat3::Zero();
  for (const Vec3& direction : directions) moments += direction * direction.transpose();
  return Eigen::SelfAdjointEigenSolver<Mat3>(moments).eigenvectors().col(0);
}

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
  out.by_normal = across.dot(lifted) * foot.transpose() * tangent_basis(normal);
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

LineTerms::LineTerms(std::span<const PlumbLine> lines, const Rig& start, const SharedTerms& terms,
                     double robust_scale)
    : robust_scale_(robust_scale) {
  for (const PlumbLine& line : lines) {
    Line own{.lens = line.lens};
    for (const int slot : terms.free_slots(line.lens)) {
      if (slot < kLensTermCount) own.free_terms.push_back(slot);
    }
    if (!own.free_terms.empty()) own.column = terms.column(line.lens, own.free_terms.front());
    const Lens& lens = start.lenses[static_cast<std::size_t>(line.lens)].lens;
    for (const PlumbPoint& point : line.points) {
      if (const auto first = lens.unproject(point.px)) {
        own.points.push_back({point.px, point.sigma_px, *first});
      }
    }
    if (own.points.size() < 3) own.points.clear();  // any two points lie on a great circle
    lines_.push_back(std::move(own));
  }
}

std::vector<Vec3> LineTerms::start() const {
  std::vector<Vec3> normals;
  for (const Line& line : lines_) {
    std::vector<Vec3> directions;
    for (const Seen& point : line.points) directions.push_back(point.first);
    normals.push_back(directions.empty() ? Vec3(Vec3::UnitZ()) : pole_of(directions));
  }
  return normals;
}

double LineTerms::line_cost(const Line& line, const Lens& lens, const Vec3& normal) const {
  double cost = 0;
  for (const Seen& point : line.points) {
    const double r =
        linearise_plumb_point(lens, point.px, point.first, normal).residual / point.sigma_px;
    cost += robust_cost(r * r, robust_scale_);
  }
  return cost;
}

double LineTerms::cost(const Rig& rig, const std::vector<Vec3>& normals) const {
  std::vector<double> parts(lines_.size(), 0.0);
  parallel_for(0, static_cast<int>(lines_.size()), [&](int i) {
    const auto k = static_cast<std::size_t>(i);
    const Line& line = lines_[k];
    parts[k] = line_cost(line, rig.lenses[static_cast<std::size_t>(line.lens)].lens, normals[k]);
  });
  return std::accumulate(parts.begin(), parts.end(), 0.0);
}

Mat2 LineTerms::Sums::damped_inverse() const {
  Mat2 damped = own;
  damped.diagonal() *= 1 + kDamping;
  return damped.inverse();
}

LineTerms::Sums LineTerms::sums_of(const Line& line, const Lens& lens, const Vec3& normal) const {
  const auto width = static_cast<Eigen::Index>(line.free_terms.size());
  Sums sums{.terms = Eigen::MatrixXd::Zero(width, width),
            .gradient = Eigen::VectorXd::Zero(width),
            .crossed = Eigen::Matrix2Xd::Zero(2, width)};
  Eigen::RowVectorXd by_terms(width);
  for (const Seen& point : line.points) {
    const LinearPlumbPoint linear = linearise_plumb_point(lens, point.px, point.first, normal);
    const double r = linear.residual / point.sigma_px;
    const double weight = robust_weight(r * r, robust_scale_) / (point.sigma_px * point.sigma_px);
    for (Eigen::Index k = 0; k < width; ++k) {
      by_terms[k] = linear.by_terms[line.free_terms[static_cast<std::size_t>(k)]];
    }
    sums.terms.noalias() += weight * by_terms.transpose() * by_terms;
    sums.gradient.noalias() += weight * linear.residual * by_terms.transpose();
    sums.crossed.noalias() += weight * linear.by_normal.transpose() * by_terms;
    sums.own += weight * linear.by_normal.transpose() * linear.by_normal;
    sums.own_gradient += weight * linear.residual * linear.by_normal.transpose();
  }
  return sums;
}

void LineTerms::add(const Rig& rig, const std::vector<Vec3>& normals, Eigen::MatrixXd& normal,
                    Eigen::VectorXd& gradient) {
  parallel_for(0, static_cast<int>(lines_.size()), [&](int i) {
    const auto k = static_cast<std::size_t>(i);
    Line& line = lines_[k];
    line.eliminated =
        sums_of(line, rig.lenses[static_cast<std::size_t>(line.lens)].lens, normals[k]);
  });
  for (const Line& line : lines_) {
    if (line.points.empty() || line.free_terms.empty()) continue;
    const Sums& sums = line.eliminated;
    const auto width = static_cast<Eigen::Index>(line.free_terms.size());
    const Eigen::Matrix2Xd scaled = sums.damped_inverse() * sums.crossed;
    normal.block(line.column, line.column, width, width) +=
        sums.terms - sums.crossed.transpose() * scaled;
    gradient.segment(line.column, width) += sums.gradient - scaled.transpose() * sums.own_gradient;
  }
}

Vec3 LineTerms::refined(const Line& line, const Lens& lens, const Vec3& normal) const {
  Mat2 own = Mat2::Zero();
  Vec2 gradient = Vec2::Zero();
  double before = 0;
  for (const Seen& point : line.points) {
    const LinearPlumbPoint linear = linearise_plumb_point(lens, point.px, point.first, normal);
    const double r = linear.residual / point.sigma_px;
    const double weight = robust_weight(r * r, robust_scale_) / (point.sigma_px * point.sigma_px);
    own += weight * linear.by_normal.transpose() * linear.by_normal;
    gradient += weight * linear.residual * linear.by_normal.transpose();
    before += robust_cost(r * r, robust_scale_);
  }
  own.diagonal() *= 1 + kDamping;
  const Vec3 moved = (normal - tangent_basis(normal) * (own.inverse() * gradient)).normalized();
  return line_cost(line, lens, moved) < before ? moved : normal;
}

std::vector<Vec3> LineTerms::stepped(const Rig& to, const std::vector<Vec3>& normals,
                                     const Eigen::VectorXd& step) const {
  std::vector<Vec3> next = normals;
  parallel_for(0, static_cast<int>(lines_.size()), [&](int i) {
    const auto k = static_cast<std::size_t>(i);
    const Line& line = lines_[k];
    if (line.points.empty()) return;
    const Sums& sums = line.eliminated;
    Vec2 pull = sums.own_gradient;
    if (!line.free_terms.empty()) {
      pull += sums.crossed *
              step.segment(line.column, static_cast<Eigen::Index>(line.free_terms.size()));
    }
    next[k] =
        (normals[k] - tangent_basis(normals[k]) * (sums.damped_inverse() * pull)).normalized();
    next[k] = refined(line, to.lenses[static_cast<std::size_t>(line.lens)].lens, next[k]);
  });
  return next;
}

}  // namespace seamwright
