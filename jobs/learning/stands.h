#pragma once

// Where the shots of a learn run stood: what a joint solve gives beside the template.

#include <span>
#include <string>
#include <vector>

#include "solver/learn_rig.h"

namespace seamwright {

/// One shot in the plan of its network. Axes are those of the rig in the network's first shot: x to
/// its right, y down, z ahead. Headings count clockwise as seen from above, 0 where the first shot
/// looks.
struct Stand {
  std::string shot;
  int network = kNoNetwork;  ///< kNoNetwork: joined to no other shot, the rest says nothing
  Vec3 position_m = Vec3::Zero();
  Vec3 position_sigma_m = Vec3::Zero();
  double heading_deg = 0;  ///< of lens 0, −180…180
  double heading_sigma_deg = 0;
};

/// `names` one a shot. Distances scale with the baseline that was given.
[[nodiscard]] std::vector<Stand> stands_of(const LearnRigResult& solved,
                                           std::span<const std::string> names);

}  // namespace seamwright
