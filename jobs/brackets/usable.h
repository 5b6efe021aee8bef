#pragma once

#include <span>
#include <vector>

#include "imaging/plane.h"
#include "jobs/brackets/exposed.h"

namespace seamwright {

/// How far each pixel of each frame may be used, 0…255, by its nearness to white. `frames` in
/// rising exposure, aligned.
///
/// Whether a pixel is near white is told by the next shorter frames, averaged over 3 × 3 pixels and
/// scaled, and not by the pixel itself: leaving pixels out because of their own noise would make
/// the bright ones darker. Between 0.88 and 0.96 of the clip level the share falls smoothly to 0. A
/// pixel that did reach the clip level is out with all its neighbours, for demosaicing and
/// alignment spread it. All channels count together: where one is clipped the others are touched.
/// Where a frame does not reach after alignment its share is 0. Where all are 0, the shortest frame
/// that is there gets 1 of 255: nothing knows better.
[[nodiscard]] std::vector<Mask> usable_shares(std::span<const Exposed> frames, double clip_level);

/// Largest colour channel of each pixel, as light.
[[nodiscard]] FloatPlane peak_plane(const Exposed& frame);

/// 255 where any channel of the frame is at the clip level or above.
[[nodiscard]] Mask clipped_pixels(const Exposed& frame, double clip_level);

}  // namespace seamwright
