#pragma once

#include <vector>

#include "features/disparity.h"
#include "features/key_pair.h"
#include "features/strip_keys.h"

namespace seamwright {

struct MatchGate {
  double sideways_rad = 0;        ///< |ψ_b − ψ_a| sin η
  double parallax_slack_rad = 0;  ///< beyond the disparity range, either side
  double max_ratio = 0.8;
  double max_scale_ratio = 1.6;  ///< of key sizes
};

/// Mutual best matches inside the gate that stand out, in both directions, against every other
/// place in the gate (places nearer than a key's size to the best are the same place). Repeated
/// patterns have rivals and are dropped. Ordered by a.
[[nodiscard]] std::vector<KeyPair> match_keys(const std::vector<StripKey>& keys_a,
                                              const std::vector<StripKey>& keys_b,
                                              const RibbonGrid& grid, const DisparityRange& range,
                                              const MatchGate& gate);

}  // namespace seamwright
