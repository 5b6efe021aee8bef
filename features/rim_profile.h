#pragma once

// Sub-pixel points on the rim of a bright disc, at full size.

#include <vector>

#include "features/circle_fit.h"
#include "features/grey_picture.h"

namespace seamwright::rim {

struct RimPoints {
  std::vector<Vec2> px;
  double softness_px = 0;  ///< from the foot of the rim to half of its rise, median
};

/// One point a ray where the rim is lit, within about 4 × `window_px` of the given circle. The rim
/// is where light ends: the foot of the outermost strong rise, told from `window_px` on both sides
/// of it and averaged along the ray's share of the rim.
[[nodiscard]] RimPoints rim_points(const GreyPicture& picture, const Surround& surround,
                                   const Circle& circle, int rays, double window_px);

}  // namespace seamwright::rim
