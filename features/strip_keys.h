#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "features/strip.h"

namespace seamwright {

/// A key point of a strip and its upright SIFT descriptor (Lowe 2004, IJCV 60:91–110) in its
/// Hellinger form (Arandjelović & Zisserman 2012): distances compare square roots.
struct StripKey {
  Vec2 at = Vec2::Zero();  ///< ribbon px of the grid without padding; x in [0, width)
  float size_px = 0;
  float response = 0;
  std::array<std::uint8_t, 128> descriptor{};
};

struct KeyOptions {
  int max_keys = 4000;     ///< strongest, evenly over the strip
  double contrast = 0.02;  ///< SIFT contrast threshold on the normalised strip
  float largest_px = 24;   ///< larger blobs sit too vaguely
};

/// Key points of a strip that was rendered with `pad_px` of padding, ordered by y, then x. Those in
/// the padding are dropped: they belong to the other end.
[[nodiscard]] std::vector<StripKey> find_keys(const Strip& strip, int pad_px,
                                              const KeyOptions& options = {});

/// Squared distance of two descriptors, 0…2·255².
[[nodiscard]] inline int distance(const StripKey& a, const StripKey& b) {
  int sum = 0;
  for (std::size_t i = 0; i < a.descriptor.size(); ++i) {
    const int d = a.descriptor[i] - b.descriptor[i];
    sum += d * d;
  }
  return sum;
}

}  // namespace seamwright
