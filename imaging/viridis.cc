#include "imaging/viridis.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

namespace seamwright {

std::array<std::uint8_t, 3> viridis(double share) {
  // Ten anchors of the published map, from memory; linear between.
  static constexpr std::array<std::array<int, 3>, 10> kAnchors = {{{0x44, 0x01, 0x54},
                                                                   {0x48, 0x28, 0x78},
                                                                   {0x3e, 0x49, 0x89},
                                                                   {0x31, 0x68, 0x8e},
                                                                   {0x26, 0x82, 0x8e},
                                                                   {0x1f, 0x9e, 0x89},
                                                                   {0x35, 0xb7, 0x79},
                                                                   {0x6e, 0xce, 0x58},
                                                                   {0xb5, 0xde, 0x2b},
                                                                   {0xfd, 0xe7, 0x25}}};
  const double at = std::clamp(share, 0.0, 1.0) * (kAnchors.size() - 1);
  const auto low = std::min(static_cast<std::size_t>(at), kAnchors.size() - 2);
  const double part = at - static_cast<double>(low);
  std::array<std::uint8_t, 3> mixed{};
  for (std::size_t c = 0; c < 3; ++c) {
    mixed[c] = static_cast<std::uint8_t>(
        std::lround(kAnchors[low][c] * (1 - part) + kAnchors[low + 1][c] * part));
  }
  return mixed;
}

}  // namespace seamwright
