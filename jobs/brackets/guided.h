#pragma once

#include "jobs/brackets/plane.h"

namespace seamwright {

/// A plane smoothed by itself as guide (He, Sun, Tang 2013, PAMI 35:1397, equations 5, 6 and 8):
/// differences whose variance is well below `edge_variance` over (2·radius + 1)² pixels go, larger
/// ones stay where they are, without a halo.
[[nodiscard]] FloatPlane guided_smooth(const FloatPlane& plane, int radius, double edge_variance);

}  // namespace seamwright
