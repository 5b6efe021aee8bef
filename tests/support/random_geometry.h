#pragma once

#include <cmath>

#include "projection/conventions.h"
#include "tests/support/random.h"

namespace seamwright::test {

/// Uniform within the cap of half angle `theta_max_rad` around +z.
[[nodiscard]] inline Vec3 random_direction_within(Random& random, double theta_max_rad) {
  const double z = random.uniform(std::cos(theta_max_rad), 1.0);
  const double azimuth = random.uniform(-kPi, kPi);
  const double plane = std::sqrt(1.0 - z * z);
  return {plane * std::cos(azimuth), plane * std::sin(azimuth), z};
}

/// Uniform on the sphere.
[[nodiscard]] inline Vec3 random_direction(Random& random) {
  return random_direction_within(random, kPi);
}

/// Uniform in the cube of half side `reach`.
[[nodiscard]] inline Vec3 random_offset(Random& random, double reach) {
  return {random.uniform(-reach, reach), random.uniform(-reach, reach),
          random.uniform(-reach, reach)};
}

}  // namespace seamwright::test
