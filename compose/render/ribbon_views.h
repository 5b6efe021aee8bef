#pragma once

#include <vector>

#include "compose/seams/seam_views.h"
#include "compose/seams/view_warp.h"
#include "sampling/lens_reader.h"

namespace seamwright {

/// Which shift the lenses are read with.
enum class ViewKind : std::uint8_t { warped, at_infinity };

/// Both lenses of a pair as they show the ribbon of `warp`, in matched linear light.
[[nodiscard]] SeamViews ribbon_views(const LensReader& a, const LensReader& b, const ViewWarp& warp,
                                     ViewKind kind);

/// Reads the columns anew, by their places in `columns`, in which the warp has changed since
/// `views` were read, and takes over what it knows of their depth.
void read_again(const LensReader& a, const LensReader& b, const ViewWarp& warp,
                const std::vector<bool>& columns, SeamViews& views);

}  // namespace seamwright
