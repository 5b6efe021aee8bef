#pragma once

#include <cstdint>
#include <vector>

#include "compose/seams/match_cost.h"

namespace seamwright {

/// What a change of depth between neighbouring pixels costs, on the scale of CostVolume.
struct Smoothness {
  int small_step = 60;     ///< of one label: slanted surfaces
  int large_step = 400;    ///< of more, where the picture is even; depth edges
  float edge_unit = 0.4F;  ///< step of normalised brightness that halves `large_step`
};

/// Semi-global matching (Hirschmüller 2008, PAMI 30:328–341): sums the costs of the best paths that
/// end in a pixel from eight directions. On a closed ribbon no path begins or ends at the seam of
/// the raster. Layout as in CostVolume. `sums` is overwritten; a vector of the same size keeps its
/// memory.
void aggregate(const CostVolume& volume, const Strip& reference, const Smoothness& smoothness,
               std::vector<std::int16_t>& sums);

}  // namespace seamwright
