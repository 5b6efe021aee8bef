#pragma once

#include <span>

#include "projection/rig.h"
#include "projection/tie.h"
#include "solver/tie_point.h"

namespace seamwright {

/// Of the ties that two lenses of one shot share, and that are in use, the share that ends clearly
/// behind infinity: by more parallax than noise and flex make. Nothing can stand there, so a large
/// share says that a solve has ended in a wrong place, however well it fits. 0 where there are
/// none. `points` and `inlier`: one a tie.
[[nodiscard]] double share_behind_infinity(const Rig& rig, std::span<const Tie> ties,
                                           std::span<const TiePoint> points,
                                           std::span<const char> inlier);

}  // namespace seamwright
