#pragma once

#include <utility>
#include <vector>

#include "projection/rig.h"

namespace seamwright {

/// Pairs of lenses that are the two best ones somewhere: where the panorama changes from one to the
/// other. Lens a is the earlier.
[[nodiscard]] std::vector<std::pair<int, int>> meeting_pairs(const Rig& rig);

}  // namespace seamwright
