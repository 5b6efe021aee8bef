#pragma once

#include "compose/cell_renderer.h"
#include "seams/seam_views.h"
#include "seams/view_warp.h"

namespace seamwright {

/// Which shift the lenses are read with.
enum class ViewKind : std::uint8_t { warped, at_infinity };

/// Both lenses of a pair as they show the ribbon of `warp`, in matched linear light.
[[nodiscard]] SeamViews ribbon_views(const LensReader& a, const LensReader& b, const ViewWarp& warp,
                                     ViewKind kind);

}  // namespace seamwright
