#pragma once

#include "compose/seams/lens_depth.h"
#include "compose/seams/viewpoint_slide.h"
#include "projection/ribbon.h"

namespace seamwright {

/// Depth as seen from another viewpoint on the baseline.
struct ViewpointDepth {
  Image inverse_m;   ///< grey f32, 1/m, from the middle of the pupils; never a hole
  Image confidence;  ///< grey f32, 0…1; 0 where filled
  Image seen_by;     ///< grey u8: bit 0 lens a sees the point, bit 1 lens b; 0 where neither does
};

/// Moves the depths of both lenses to the viewpoint `offset_m` (0: the common view). Surfaces are
/// joined along η where depth is continuous; of what lands on the same pixel the nearest stays.
/// What no lens sees is filled along η with the farther side. `gap_inverse_m` is the step of
/// inverse distance from which on two neighbours are different surfaces.
[[nodiscard]] ViewpointDepth depth_from(double offset_m, const LensDepth& a, const LensDepth& b,
                                        const RibbonGrid& grid, double gap_inverse_m);

/// The same for a viewpoint that walks: what the panorama shows, row by row.
[[nodiscard]] ViewpointDepth depth_along(const ViewpointSlide& slide, const LensDepth& a,
                                         const LensDepth& b, const RibbonGrid& grid,
                                         double gap_inverse_m);

}  // namespace seamwright
