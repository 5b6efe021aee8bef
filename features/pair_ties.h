#pragma once

#include <vector>

#include "features/disparity.h"
#include "features/ties.h"
#include "projection/ribbon.h"
#include "sampling/lens_view.h"

namespace seamwright {

/// Two lenses of a rig and the ribbon in which they are matched.
struct MatchedPair {
  const LensView& a;
  const LensView& b;
  int lens_a = 0;
  int lens_b = 1;
  const RibbonGrid& grid;
};

/// Everything that is found for one lens pair.
struct PairTies {
  std::vector<Tie> ties;
  std::vector<TieDetail> details;
  PairTieReport report;
};

[[nodiscard]] PairTies find_pair_ties(const MatchedPair& pair, const Rig& rig, int shot,
                                      const TieOptions& options);

}  // namespace seamwright
