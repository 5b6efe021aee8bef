#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

namespace seamwright {

/// SIFT (Lowe 2004, IJCV 60:91–110) in its Hellinger form (Arandjelović & Zisserman 2012):
/// distances compare square roots.
using Descriptor = std::array<std::uint8_t, 128>;

/// Squared distance of two descriptors, 0…2·255².
[[nodiscard]] inline int distance(const Descriptor& a, const Descriptor& b) {
  int sum = 0;
  for (std::size_t i = 0; i < a.size(); ++i) {
    const int d = a[i] - b[i];
    sum += d * d;
  }
  return sum;
}

}  // namespace seamwright
