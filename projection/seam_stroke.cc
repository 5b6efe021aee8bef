#include "projection/seam_stroke.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

namespace seamwright {

namespace {

// To the shorter great-circle arc from p to q.
double distance_to_arc(const Vec3& p, const Vec3& q, const Vec3& direction) {
  const double to_ends = std::min(angle_between(p, direction), angle_between(q, direction));
  const Vec3 normal = p.cross(q);
  if (normal.norm() < 1e-12) return to_ends;
  // Abeam of the arc: on the inner side of both planes that stand on its ends.
  const bool abeam = normal.cross(p).dot(direction) > 0 && normal.cross(q).dot(direction) < 0;
  if (!abeam) return to_ends;
  return std::asin(std::min(1.0, std::abs(normal.normalized().dot(direction))));
}

}  // namespace

Vec3 PanoramaPlace::direction() const {
  return {std::cos(latitude_rad) * std::sin(longitude_rad), -std::sin(latitude_rad),
          std::cos(latitude_rad) * std::cos(longitude_rad)};
}

PanoramaPlace place_of(const Vec3& direction) {
  return {std::atan2(direction.x(), direction.z()),
          std::atan2(-direction.y(), std::hypot(direction.x(), direction.z()))};
}

double SeamStroke::distance_rad(const Vec3& direction) const {
  double least = kPi;
  for (std::size_t i = 0; i < path.size(); ++i) {
    const PanoramaPlace& next = path[std::min(i + 1, path.size() - 1)];
    least = std::min(least, distance_to_arc(path[i].direction(), next.direction(), direction));
  }
  return least;
}

}  // namespace seamwright
