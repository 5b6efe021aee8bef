#include "features/great_arc.h"

#include <algorithm>
#include <cmath>

#include <Eigen/Geometry>

#include "projection/dense_algebra.h"

namespace seamwright {

std::optional<GreatArc> GreatArc::fitted(std::span<const Vec3> directions,
                                         std::span<const double> weights) {
  if (directions.size() < 3) return std::nullopt;
  const auto weight = [&](std::size_t i) { return weights.empty() ? 1.0 : weights[i]; };
  Mat3 moments = Mat3::Zero();
  Vec3 sum = Vec3::Zero();
  for (std::size_t i = 0; i < directions.size(); ++i) {
    moments += weight(i) * directions[i] * directions[i].transpose();
    sum += weight(i) * directions[i];
  }
  const SymmetricEigen3 axes = eigen_of_symmetric3(moments);
  GreatArc arc;
  arc.normal = axes.vectors.col(0);
  const Vec3 middle = sum - arc.normal * arc.normal.dot(sum);
  if (!(middle.norm() > 1e-6 * static_cast<double>(directions.size()))) return std::nullopt;
  arc.middle = middle.normalized();
  arc.ahead = arc.normal.cross(arc.middle);
  if (arc.along(directions.front()) > arc.along(directions.back())) {
    arc.ahead = -arc.ahead;
  }

  Mat3 normal = Mat3::Zero();
  Vec3 right = Vec3::Zero();
  arc.from_rad = kPi;
  arc.to_rad = -kPi;
  for (std::size_t i = 0; i < directions.size(); ++i) {
    const double s = arc.along(directions[i]);
    const Vec3 row(1, s, s * s);
    normal += weight(i) * row * row.transpose();
    right += weight(i) * row * std::asin(std::clamp(directions[i].dot(arc.normal), -1.0, 1.0));
    arc.from_rad = std::min(arc.from_rad, s);
    arc.to_rad = std::max(arc.to_rad, s);
  }
  arc.bow = solve_symmetric(normal, right);
  if (!arc.bow.allFinite() || !(arc.length_rad() > 0)) return std::nullopt;
  return arc;
}

}  // namespace seamwright
