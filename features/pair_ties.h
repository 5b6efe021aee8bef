#pragma once

#include <vector>

#include "features/disparity.h"
#include "features/ties.h"
#include "projection/ribbon.h"
#include "sampling/lens_view.h"

namespace seamwright {

/// Everything that is found for one lens pair.
struct PairTies {
  std::vector<Tie> ties;
  std::vector<TieDetail> details;
  PairTieReport report;
};

[[nodiscard]] PairTies find_pair_ties(const LensView& a, const LensView& b, const Rig& rig,
                                      int lens_a, int lens_b, const RibbonGrid& grid, int shot,
                                      const TieOptions& options);

}  // namespace seamwright
