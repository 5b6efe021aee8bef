#pragma once

// What a person knows about a shot's seams, in the terms of one pair's ribbon.

#include <span>
#include <vector>

#include "compose/seams/ribbon_depth.h"
#include "imaging/image.h"
#include "projection/rig.h"
#include "projection/seam_stroke.h"
#include "projection/tie.h"

namespace seamwright {

/// Lenses of a pair, lens a towards the ribbon's pole.
struct LensPair {
  int a = 0;
  int b = 1;
};

/// Strokes as a raster of SeamWish; empty where none touches the ribbon. Later strokes cover
/// earlier ones; a wish for a third lens is none of the pair's business.
[[nodiscard]] Image wish_raster(std::span<const SeamStroke> strokes, const RibbonGrid& grid,
                                const LensPair& pair);

/// The depth at ties that both lenses of the pair see: where their sights meet, or infinity for a
/// tie that is marked far. `rig` has the size of the frames that the sights lie in.
[[nodiscard]] std::vector<DepthAnchor> depth_anchors(std::span<const Tie> ties, const Rig& rig,
                                                     const LensPair& pair, const RibbonGrid& grid);

}  // namespace seamwright
