#pragma once

// Edges of a frame as chains of pixels: ridges of the gradient's magnitude, thinned to one pixel
// (non-maximum suppression; Canny 1986, IEEE Trans. PAMI 8:679–698) and followed.

#include <vector>

#include "sampling/lens_view.h"

namespace seamwright {

struct Edgel {
  Vec2 px = Vec2::Zero();        ///< of the frame, sub-pixel across the edge
  Vec2 gradient = Vec2::Zero();  ///< of the match plane, per frame pixel; towards the bright side
};

using EdgeChain = std::vector<Edgel>;  ///< bright side always on the same hand

struct EdgeChainOptions {
  double least_gradient = 0.01;  ///< match plane's 0…1 scale per frame pixel
  double margin_px = 6;          ///< kept free at the rim of the picture
  int shortest = 10;             ///< edgels; what is shorter is dropped
  int largest_raster_px = 2600;  ///< wider frames are searched at half size
};

/// Same frame, same chains, in order of their first pixel.
[[nodiscard]] std::vector<EdgeChain> find_edge_chains(const LensView& view,
                                                      const EdgeChainOptions& options = {});

}  // namespace seamwright
