#pragma once

#include <vector>

#include "features/descriptor.h"
#include "sampling/strip.h"

namespace seamwright {

/// A key point of a strip and its upright descriptor.
struct StripKey {
  Vec2 at = Vec2::Zero();  ///< ribbon px of the grid without padding; x in [0, width)
  float size_px = 0;
  float response = 0;
  Descriptor descriptor{};
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

}  // namespace seamwright
