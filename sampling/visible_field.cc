#include "sampling/visible_field.h"

#include <cmath>

namespace seamwright {

namespace {

constexpr int kAzimuths = 1440;
constexpr float kDark = 0.03F;     // match plane level of the surround, 0.1 % of white in light
constexpr double kDeepest = 0.15;  // the surround may take this share of the rim radius

Vec2 unit(double azimuth_rad) { return {std::cos(azimuth_rad), std::sin(azimuth_rad)}; }

// Radius of the field's border along one azimuth, from the lens model.
double rim_px(const Lens& lens, double azimuth_rad) {
  const Vec2 e = unit(azimuth_rad);
  const double s = std::sin(lens.theta_max_rad * (1 - 1e-9));
  const double c = std::cos(lens.theta_max_rad * (1 - 1e-9));
  const auto px = lens.project(Vec3(s * e.x(), s * e.y(), c));
  return px ? (*px - lens.centre_px()).norm() : 0.0;
}

bool inside(const Lens& lens, const Vec2& px) {
  return px.x() >= 0 && px.y() >= 0 && px.x() < lens.width_px && px.y() < lens.height_px;
}

float level(const Image& plane, const Vec2& px) {
  return plane.row<float>(static_cast<int>(px.y()))[static_cast<std::size_t>(px.x())];
}

}  // namespace

VisibleField::VisibleField(const Image& plane, const Lens& lens)
    : centre_px_(lens.centre_px()), width_px_(lens.width_px), height_px_(lens.height_px) {
  limit_px_.reserve(kAzimuths);
  for (int i = 0; i < kAzimuths; ++i) {
    const double azimuth = 2 * kPi * (i + 0.5) / kAzimuths;
    const double rim = rim_px(lens, azimuth);
    double limit = rim;
    // From the rim inwards for as long as it is dark.
    while (limit > rim * (1 - kDeepest)) {
      const Vec2 px = centre_px_ + limit * unit(azimuth);
      if (inside(lens, px) && level(plane, px) >= kDark) break;
      limit -= 1;
    }
    limit_px_.push_back(static_cast<float>(limit));
  }
}

bool VisibleField::contains(const Vec2& px, double margin_px) const {
  if (px.x() < margin_px || px.y() < margin_px || px.x() > width_px_ - margin_px ||
      px.y() > height_px_ - margin_px) {
    return false;
  }
  const Vec2 from_centre = px - centre_px_;
  const double turn = std::atan2(from_centre.y(), from_centre.x()) / (2 * kPi);
  const auto index = static_cast<int>((turn < 0 ? turn + 1 : turn) * kAzimuths);
  return from_centre.norm() <= limit_px_[static_cast<std::size_t>(index % kAzimuths)] - margin_px;
}

}  // namespace seamwright
