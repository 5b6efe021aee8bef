#pragma once

// What linked stands know of their surroundings together: points in one world, and which keys see
// them.

#include <map>
#include <span>
#include <vector>

#include "features/map_pose.h"
#include "features/shot_link.h"
#include "features/sphere_keys.h"
#include "features/track_chain.h"

namespace seamwright {

/// Where a shot stands: X_world = world_from_rig · X_rig + position.
struct PlacedShot {
  Quat world_from_rig = Quat::Identity();
  Vec3 position = Vec3::Zero();  ///< units of the rig
  int network = -1;              ///< shots of one network share a world; below 0: takes no part

  [[nodiscard]] Ray ray_in_world(const Ray& in_rig) const {
    return {world_from_rig * in_rig.origin + position, world_from_rig * in_rig.direction};
  }
};

/// X_b = rotation · X_a + translation, for two shots of one network.
[[nodiscard]] RelativePose motion_between(const PlacedShot& a, const PlacedShot& b);

struct MapPoint {
  Vec3 position = Vec3::Zero();  ///< in the network's world
  std::vector<KeyOfShot> sights{};
};

struct NetworkMap {
  std::vector<int> shots;  ///< rising
  std::vector<MapPoint> points;
  std::map<KeyOfShot, int> point_of;  ///< index of the point that a key sees
};

/// The points that links of shots of `network` agree on, seen with enough parallax to say where
/// they are.
[[nodiscard]] NetworkMap map_network(std::span<const ShotKeys> keys, const Rig& rig,
                                     std::span<const ShotLink> links,
                                     std::span<const PlacedShot> shots, int network);

/// Nothing stands in a line of sight. Of the lines along which `seer` sees its own points, those
/// are counted that pass points of `other` and do not end at one, and of these the ones that would
/// have to go through: all points beside the line lie well in front of its end.
struct BlockedLines {
  int lines = 0;
  int blocked = 0;
};
[[nodiscard]] BlockedLines blocked_lines(const NetworkMap& seer, const NetworkMap& other,
                                         std::span<const PlacedShot> shots,
                                         const MapMotion& seer_from_other);

}  // namespace seamwright
