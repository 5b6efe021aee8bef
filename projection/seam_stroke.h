#pragma once

#include <cmath>
#include <vector>

#include "projection/conventions.h"

namespace seamwright {

/// What a person wants of the seam somewhere.
enum class StrokeWish {
  away,  ///< the seam keeps off
  here,  ///< the seam prefers to pass
  lens,  ///< this lens' picture is wanted
};

/// A place on the panorama (conventions.h).
struct PanoramaPlace {
  double longitude_rad = 0;
  double latitude_rad = 0;

  [[nodiscard]] Vec3 direction() const;
  /// True if the longitude is within ± half a turn and the latitude within ± a quarter; NaN is not.
  [[nodiscard]] bool valid() const {
    return std::abs(longitude_rad) <= kPi && std::abs(latitude_rad) <= kPi / 2;
  }
  bool operator==(const PanoramaPlace&) const = default;
};
[[nodiscard]] PanoramaPlace place_of(const Vec3& direction);

/// A brush stroke on the panorama, before it is levelled or turned: a line along great circles and
/// the brush's reach to both sides of it.
struct SeamStroke {
  StrokeWish wish = StrokeWish::away;
  int lens = 0;                        ///< of StrokeWish::lens
  double reach_rad = rad_from_deg(1);  ///< above 0, up to a quarter turn
  std::vector<PanoramaPlace> path{};   ///< one place is a dab

  /// Smallest angle between a unit direction and the line.
  [[nodiscard]] double distance_rad(const Vec3& direction) const;
  [[nodiscard]] bool covers(const Vec3& direction) const {
    return distance_rad(direction) <= reach_rad;
  }
  bool operator==(const SeamStroke&) const = default;
};

}  // namespace seamwright
