#include "projection/equirect.h"

#include <cmath>

namespace seamwright {

Vec3 Equirect::direction(const Vec2& px) const {
  const double longitude = 2.0 * kPi * (px.x() / width - 0.5);
  const double latitude = kPi * (0.5 - px.y() / height);
  const double c = std::cos(latitude);
  return {c * std::sin(longitude), -std::sin(latitude), c * std::cos(longitude)};
}

Vec2 Equirect::position(const Vec3& direction) const {
  const double longitude = std::atan2(direction.x(), direction.z());
  const double latitude = std::atan2(-direction.y(), std::hypot(direction.x(), direction.z()));
  double u = (longitude / (2.0 * kPi) + 0.5) * width;
  if (u >= width) u -= width;
  return {u, (0.5 - latitude / kPi) * height};
}

}  // namespace seamwright
