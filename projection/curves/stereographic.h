#pragma once

#include <cmath>
#include <string_view>

#include "projection/conventions.h"

namespace seamwright {

/// r/f = 2 * tan(θ / 2): conformal. Infinite at 180°; kept below 175°.
/// Schneider, Schwalbe, Maas 2009, ISPRS J. 64:259–266.
struct StereographicCurve {
  static constexpr std::string_view name = "stereographic";
  static constexpr double theta_limit_rad = kPi * 175.0 / 180.0;

  template <class T>
  static T radius(const T& theta) {
    using std::tan;
    return T(2.0) * tan(theta / T(2.0));
  }
};

}  // namespace seamwright
