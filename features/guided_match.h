#pragma once

// Matches between two shots whose poses are known already: along epipolar circles, where few keys
// compete. Wide ways between stands leave true pairs with descriptors that a search over the whole
// sphere takes for ambiguous.

#include <vector>

#include "features/shot_link.h"
#include "features/sphere_keys.h"

namespace seamwright {

struct GuidedMatchOptions {
  double gate_rad = rad_from_deg(0.3);  ///< from the epipolar circle: how wrong the pose may be
  double max_ratio = 0.8;               ///< against other places on the circle
  /// Sizes of the same thing go with its distances, by a factor of this at most.
  double most_size_misfit = 1.7;
};

/// Pairs of keys that may show the same point, ordered by a. `b_from_a` is in the rig's units.
[[nodiscard]] std::vector<KeyPair> match_guided(const ShotKeys& keys_a, const ShotKeys& keys_b,
                                                const Rig& rig, const RelativePose& b_from_a,
                                                const GuidedMatchOptions& options = {});

}  // namespace seamwright
