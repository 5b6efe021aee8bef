#pragma once

#include "compose/seams/seam_views.h"
#include "compose/seams/view_warp.h"

namespace seamwright {

/// The shifts that views were read with.
struct ViewShifts {
  Image a_rad;  ///< ViewWarp::shift_a_rad
  Image b_rad;
};

/// Views of a warp that has moved a little since they were read with `read`: taken from the views
/// themselves, along η (Catmull and Rom 1974), for a tenth of what reading the frames costs. What
/// did not move stays as it is, to the bit. Good for moves up to a pixel or two; the views become a
/// little softer where they moved by half of one. `warp` has the views' size (asserted).
void move_views(SeamViews& views, const ViewShifts& read, const ViewWarp& warp);

}  // namespace seamwright
