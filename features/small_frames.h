#pragma once

#include "imaging/image.h"

namespace seamwright {

/// The frame as matching looks at it (sampling/lens_view.h), about `width_px` wide: grey, float,
/// each pixel the mean of those it covers, the frame's shape kept. A frame that is hardly larger
/// or smaller keeps its size; one of less than half the width is enlarged.
[[nodiscard]] Image small_match_plane(const Image& frame, int width_px);

}  // namespace seamwright
