#pragma once

// Which keys of two lenses show the same thing, by their descriptors alone.

#include <span>
#include <vector>

#include <Eigen/Core>

#include "features/shot_link.h"
#include "features/sphere_keys.h"

namespace seamwright {

/// Keys of one lens made ready for matching: a descriptor a column, with where it points.
struct KeyBlock {
  Eigen::MatrixXf descriptors;
  Eigen::VectorXf half_norm2;
  std::vector<Vec3> directions;  ///< in the rig
  std::vector<int> keys;         ///< indices into the shot's keys
};

/// The keys of one lens that the rig can see; the `strongest` ones only, if that is above 0.
[[nodiscard]] KeyBlock key_block(const ShotKeys& shot, const Rig& rig, int lens, int strongest = 0);

/// Mutual best pairs that stand out, in both directions, against every other place by `max_ratio`.
/// Ordered by a. The same on any machine: the sums are of whole numbers small enough to be exact.
[[nodiscard]] std::vector<KeyPair> match_blocks(const KeyBlock& a, const KeyBlock& b,
                                                double max_ratio);

}  // namespace seamwright
