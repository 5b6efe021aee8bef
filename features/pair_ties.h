#pragma once

#include <optional>
#include <vector>

#include "features/disparity.h"
#include "features/lens_view.h"
#include "features/ties.h"
#include "projection/ribbon.h"

namespace seamwright {

/// Everything that is found for one lens pair.
struct PairTies {
  std::vector<Tie> ties;
  std::vector<TieDetail> details;
  PairTieReport report;
};

/// The raster in which a pair is matched: native radial resolution, without the parts near the
/// ribbon's poles where it degenerates. `reach_rad` beyond the overlap on either side along the
/// ribbon, for a rig that may be wrong by so much there. Empty where the overlap is too small to
/// match.
[[nodiscard]] std::optional<RibbonGrid> matching_grid(const Rig& rig, int lens_a, int lens_b,
                                                      double margin_rad, double reach_rad = 0);

[[nodiscard]] PairTies find_pair_ties(const LensView& a, const LensView& b, const Rig& rig,
                                      int lens_a, int lens_b, const RibbonGrid& grid, int shot,
                                      const TieOptions& options);

}  // namespace seamwright
