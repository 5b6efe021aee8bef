#pragma once

#include <vector>

#include "features/shot_link.h"

namespace seamwright {

struct LensMatchOptions {
  double sideways_rad = rad_from_deg(1);  ///< from the epipolar plane of the two pupils
  double slack_rad = rad_from_deg(1);     ///< of rays that should meet at infinity
  double nearest_m = 0.3;                 ///< nearest object, metres (metric rigs)
  double nearest_baselines = 10;          ///< the same for rigs without a scale
  double max_ratio = 0.8;
};

/// Keys of one shot that two of its lenses share, gated by what the pupils allow: mutual best and
/// distinct against every other place in the gate. a is of the lens with the lower number.
[[nodiscard]] std::vector<KeyPair> match_lenses(const ShotKeys& shot, const Rig& rig,
                                                const LensMatchOptions& options = {});

}  // namespace seamwright
