#include "features/circle_fit.h"

#include <cmath>

#include <Eigen/LU>

#include "projection/dense_algebra.h"

namespace seamwright::rim {

std::optional<Circle> circle_through(const Vec2& a, const Vec2& b, const Vec2& c) {
  Mat2 sides;
  sides << (b - a).transpose(), (c - a).transpose();
  const double area = sides.determinant();
  if (std::abs(area) < 1e-9) return std::nullopt;
  const Vec2 from_a = sides.inverse() * Vec2((b - a).squaredNorm() / 2, (c - a).squaredNorm() / 2);
  return Circle{a + from_a, from_a.norm()};
}

bool fit_step(const std::vector<Vec2>& points, const std::vector<double>& weights, Circle& circle) {
  Mat3 normal = Mat3::Zero();
  Vec3 gradient = Vec3::Zero();
  for (std::size_t i = 0; i < points.size(); ++i) {
    const Vec2 outward = (points[i] - circle.centre).normalized();
    const Vec3 slope(-outward.x(), -outward.y(), -1);
    normal += weights[i] * slope * slope.transpose();
    gradient += weights[i] * circle.outside_by(points[i]) * slope;
  }
  const SymmetricFactor solver(normal);
  if (!solver.found() || solver.rcond() < 1e-9) return false;
  const Vec3 step = solver.solve(-gradient);
  circle.centre += step.head<2>();
  circle.radius += step.z();
  return step.allFinite();
}

std::optional<CircleFit> fit_circle(const std::vector<Vec2>& points, Circle circle,
                                    double start_px) {
  constexpr double kTukey = 4.685;  // 95 % efficiency on normal noise
  constexpr double kLeastScale_px = 0.1;
  if (points.size() < 12) return std::nullopt;
  std::vector<double> weights(points.size());
  double scale = start_px;
  for (int turn = 0; turn < 30; ++turn) {
    std::vector<double> distances;
    for (std::size_t i = 0; i < points.size(); ++i) {
      const double distance = std::abs(circle.outside_by(points[i]));
      const double q = distance / (kTukey * scale);
      weights[i] = q < 1 ? (1 - q * q) * (1 - q * q) : 0;
      if (q < 1) distances.push_back(distance);
    }
    if (distances.size() < 12 || !fit_step(points, weights, circle)) return std::nullopt;
    scale = std::clamp(1.4826 * quantile(distances, 0.5), kLeastScale_px, scale);
  }
  CircleFit fit{.circle = circle};
  double sum = 0;
  double weight_sum = 0;
  for (std::size_t i = 0; i < points.size(); ++i) {
    const double distance = circle.outside_by(points[i]);
    sum += weights[i] * distance * distance;
    weight_sum += weights[i];
    if (weights[i] > 0) ++fit.used;
  }
  fit.residual_px = std::sqrt(sum / weight_sum);
  return fit;
}

}  // namespace seamwright::rim
