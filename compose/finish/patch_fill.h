#pragma once

// A hole in a picture, filled from the rest of it.
//
// Half of the slow changes of light is taken out first and put back at the end, continued smoothly
// over the hole (pull-push, Gortler et al. 1996, SIGGRAPH, section 3.4.3): a lamp's fall-off then
// hardly matters, while a carpet is still told from the boards beside it. The rest, boards and
// tiles and grain, is made from patches of the surroundings: at the coarsest scale from the border
// inwards; then every patch of the hole looks for the most similar one outside (approximate nearest
// neighbours by propagation and random search, Barnes et al. 2009, ACM ToG 28:24), overlapping
// patches vote for each pixel, and both are repeated from coarse to fine (Wexler, Shechtman, Irani
// 2007, IEEE Trans. PAMI 29:463–476). Same picture, same
// filling, whatever the thread count.

#include <cstdint>
#include <span>

#include "base/result.h"
#include "imaging/image.h"

namespace seamwright {

/// `picture`: grey or RGB f32, code values; `hole`: one byte a pixel, other than 0 where to fill.
/// Fails when the hole leaves less than a fifth of the picture to take from.
[[nodiscard]] Result<void> fill_hole(Image& picture, std::span<const std::uint8_t> hole);

}  // namespace seamwright
