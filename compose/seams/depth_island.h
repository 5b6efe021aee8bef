#pragma once

// Islands: small surfaces that stand alone in a lens' depth.

#include <cstddef>
#include <vector>

#include "compose/seams/lens_depth.h"
#include "compose/seams/match_cost.h"

namespace seamwright {

struct IslandPixel {
  int x = 0;
  int y = 0;
};
using DepthIsland = std::vector<IslandPixel>;

/// Connected pixels seen by `both` of which there are fewer than `fewer_than`, in the order of
/// their first pixels. An island ends where the inverse distance of neighbours differs by more than
/// `gap_inverse_m`. `closed`: columns wrap.
[[nodiscard]] std::vector<DepthIsland> depth_islands(const LensDepth& depth, bool closed,
                                                     double gap_inverse_m, std::size_t fewer_than);

/// Small islands are errors that both lenses happened to agree on: turns those of fewer than
/// `least_px` pixels from `both` into `unsure`.
void doubt_speckle(LensDepth& depth, bool closed, double gap_inverse_m, int least_px);

/// Which islands are looked at, and what disparity is.
struct IslandOptions {
  double gap_inverse_m = 0;     ///< as depth_islands() has it
  double px_per_inverse_m = 1;  ///< disparity of an inverse distance of one, ribbon px
  std::size_t at_least = 0;     ///< pixels
  std::size_t fewer_than = 0;
  std::vector<IslandPixel> held = {};  ///< of known depth: their islands stay
};

/// Ribs, tiles and slats match a period off as well as where they are, and a match may change its
/// mind halfway: then an island stands where nothing is. Gives islands the depth around them, to
/// within half a pixel of disparity, where that explains both pictures as well as their own does. A
/// real thing before a background is not explained by it. `depth` is that of `own`. Returns how
/// many islands have changed.
int join_islands(LensDepth& depth, const BaselineStrip& own, const BaselineStrip& other,
                 const IslandOptions& options);

}  // namespace seamwright
