#pragma once

#include "imaging/plane.h"

namespace seamwright {

/// What the filter makes of each pixel: slope · value + offset, both already the means over the
/// windows that hold the pixel.
struct GuidedLines {
  FloatPlane slope;
  FloatPlane offset;
};
[[nodiscard]] GuidedLines guided_lines(const FloatPlane& plane, int radius, double edge_variance);

/// A plane smoothed by itself as guide (He, Sun, Tang 2013, PAMI 35:1397, equations 5, 6 and 8):
/// differences whose variance is well below `edge_variance` over (2·radius + 1)² pixels go, larger
/// ones stay where they are, without a halo.
[[nodiscard]] FloatPlane guided_smooth(const FloatPlane& plane, int radius, double edge_variance);

}  // namespace seamwright
