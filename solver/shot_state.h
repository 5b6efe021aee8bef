#pragma once

// What belongs to one shot alone: how its body was flexed and where it stood.

#include <span>
#include <vector>

#include "projection/conventions.h"

namespace seamwright {

inline constexpr int kNoNetwork = -1;

/// Where a shot stood. Shots that are joined by tracks form a network with a world frame of its
/// own: the rig frame of the network's first shot. A shot alone stands at the origin of its world.
struct ShotPose {
  Quat world_from_rig = Quat::Identity();
  Vec3 position = Vec3::Zero();  ///< of the rig's origin in the world, metres
  int network = kNoNetwork;
};

struct ShotState {
  /// Rotation vector of every lens against its mount in this one shot, rad, rig frame; lens 0 is
  /// zero. Empty: none.
  std::vector<Vec3> flex;
  ShotPose pose;

  [[nodiscard]] Quat flex_of(int lens) const {
    if (flex.empty()) return Quat::Identity();
    return quat_from_rotation_vector(flex[static_cast<std::size_t>(lens)]);
  }
};

/// All shots of a solve; an empty span stands for shots without flex that stand alone.
using ShotStates = std::span<const ShotState>;

}  // namespace seamwright
