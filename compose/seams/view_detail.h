#pragma once

// What two lenses' views of one ribbon can be compared by: log light without its smooth part, so
// that exposure, colour and shading do not count.

#include <array>

#include "compose/seams/ring_blur.h"
#include "compose/seams/seam_views.h"

namespace seamwright {

/// 1 where both lenses show a pixel with its full light, else 0.
[[nodiscard]] FloatPlane shown_by_both(const SeamViews& views);

/// Log light of each view, mean of the channels, less its Gaussian mean of σ `flat_px` over what is
/// shown around; 0 where not `shown`.
[[nodiscard]] std::array<FloatPlane, 2> view_details(const SeamViews& views,
                                                     const FloatPlane& shown, double flat_px);

}  // namespace seamwright
