#pragma once

#include <cmath>
#include <string_view>

#include "projection/conventions.h"

namespace seamwright {

/// r/f = 2 * sin(θ / 2): equal solid angles give equal areas. Folds at 180°.
/// Schneider, Schwalbe, Maas 2009, ISPRS J. 64:259–266.
struct EquisolidCurve {
  static constexpr std::string_view name = "equisolid";
  static constexpr double theta_limit_rad = kPi;

  template <class T>
  static T radius(const T& theta) {
    using std::sin;
    return T(2.0) * sin(theta / T(2.0));
  }
};

}  // namespace seamwright
