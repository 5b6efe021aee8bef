#pragma once

// Matches between keys that geometry allows: mutual best, and distinct against every other place
// that is allowed as well.

#include <cstddef>
#include <functional>
#include <vector>

#include "features/shot_link.h"
#include "features/sphere_keys.h"

namespace seamwright {

/// A key that the rig can see.
struct SeenKey {
  int key = 0;  ///< index into the shot's keys
  Ray ray;
};

/// The keys of one lens, or of every lens where `lens` is below 0, in their order.
[[nodiscard]] std::vector<SeenKey> seen_keys(const ShotKeys& shot, const Rig& rig, int lens = -1);

/// Appends to a list the indices into `b` that a[i] may be. Called from several threads at once.
using AllowedKeys = std::function<void(std::size_t i, std::vector<std::size_t>& allowed)>;

/// One side of a match: keys of a shot.
struct MatchSide {
  const ShotKeys& shot;
  const std::vector<SeenKey>& keys;

  [[nodiscard]] const Descriptor& descriptor(std::size_t i) const {
    return shot.keys[static_cast<std::size_t>(keys[i].key)].descriptor;
  }
};

/// A match stands out by `max_ratio`, in both directions, against every allowed key farther than
/// `same_place_rad` from it. Ordered as `a`.
[[nodiscard]] std::vector<KeyPair> match_allowed(const MatchSide& a, const MatchSide& b,
                                                 const AllowedKeys& allowed, double max_ratio,
                                                 double same_place_rad);

}  // namespace seamwright
