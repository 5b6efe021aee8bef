#include "projection/conventions.h"

#include <cmath>

namespace seamwright {

Quat quat_from_rotation_vector(const Vec3& rotation_rad) {
  const double angle = rotation_rad.norm();
  // sin(a/2)/a by its series where the quotient loses digits.
  const double scale = angle < 1e-4 ? 0.5 - angle * angle / 48.0 : std::sin(angle / 2.0) / angle;
  const Vec3 v = scale * rotation_rad;
  return Quat(std::cos(angle / 2.0), v.x(), v.y(), v.z());
}

Vec3 rotation_vector_from_quat(const Quat& rotation) {
  const double sign = rotation.w() < 0 ? -1.0 : 1.0;
  const double w = sign * rotation.w();
  const Vec3 v = sign * rotation.vec();
  const double s = v.norm();
  // 2 atan2(s, w)/s by its series where the quotient loses digits.
  const double scale = s < 1e-8 ? 2.0 / w : 2.0 * std::atan2(s, w) / s;
  return scale * v;
}

double angle_between(const Vec3& a, const Vec3& b) {
  return 2.0 * std::atan2((a.normalized() - b.normalized()).norm(),
                          (a.normalized() + b.normalized()).norm());
}

}  // namespace seamwright
