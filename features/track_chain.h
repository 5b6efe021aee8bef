#pragma once

// Tracks: matches between shots and between lenses, chained over everything that saw a point.

#include <span>
#include <vector>

#include "features/shot_link.h"

namespace seamwright {

/// A key of a shot, by indices.
struct KeyOfShot {
  int shot = 0;
  int key = 0;

  auto operator<=>(const KeyOfShot&) const =
      default;  // NOLINT(modernize-use-nullptr): no pointer here
};

struct Chains {
  std::vector<std::vector<KeyOfShot>> tracks;  ///< sights ordered by shot, then key
  int conflicts = 0;  ///< dropped: one lens of one shot would see the point at two places
};

/// Connected components of the links' matches and of `within[shot]`, each shot's matches between
/// its lenses, that reach over two or more shots. Two keys at one place of a frame count once, the
/// stronger one.
[[nodiscard]] Chains chain(std::span<const ShotKeys> keys, std::span<const ShotLink> links,
                           std::span<const std::vector<KeyPair>> within);

}  // namespace seamwright
