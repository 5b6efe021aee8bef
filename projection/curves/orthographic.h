#pragma once

#include <cmath>
#include <string_view>

#include "projection/conventions.h"

namespace seamwright {

/// r/f = sin(θ): radius is the sine of the angle. Folds at 90°.
/// Schneider, Schwalbe, Maas 2009, ISPRS J. 64:259–266.
struct OrthographicCurve {
  static constexpr std::string_view name = "orthographic";
  static constexpr double theta_limit_rad = kPi / 2.0;

  template <class T>
  static T radius(const T& theta) {
    using std::sin;
    return sin(theta);
  }
};

}  // namespace seamwright
