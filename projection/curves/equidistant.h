#pragma once

#include <cmath>
#include <string_view>

#include "projection/conventions.h"

namespace seamwright {

/// r/f = θ: equal angles give equal radii. No bound of its own.
/// Schneider, Schwalbe, Maas 2009, ISPRS J. 64:259–266.
struct EquidistantCurve {
  static constexpr std::string_view name = "equidistant";
  static constexpr double theta_limit_rad = kPi;

  template <class T>
  static T radius(const T& theta) {
    return theta;
  }
};

}  // namespace seamwright
