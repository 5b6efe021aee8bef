#pragma once

#include <span>
#include <vector>

#include "features/disparity.h"
#include "features/pair_match.h"
#include "sampling/strip.h"

namespace seamwright {

/// A rough match on an edge, ribbon px of the grid without padding.
struct EdgePair {
  Vec2 at_a = Vec2::Zero();
  Vec2 at_b = Vec2::Zero();
};

struct EdgeSearchOptions {
  int pad_px = 0;                 ///< of the strips
  double sideways_rad = 0;        ///< gate |ψ_b − ψ_a| sin η
  double parallax_slack_rad = 0;  ///< beyond the disparity range
  double clear_of_ties_px = 16;   ///< edges nearer than this to a known match add nothing
  int max_edges = 250;            ///< sought, strongest first
};

/// Matches on edges that run along η (within about 30°) where there are no matches yet: they fix
/// the sideways part, which plain walls otherwise leave open. Each is found by correlating a patch
/// over the gate; it must be distinct against every place beside the edge, and its place along the
/// edge follows the disparity of the known matches around. Positions are good to about a pixel
/// across the edge.
[[nodiscard]] std::vector<EdgePair> search_edges(const Strip& a, const Strip& b,
                                                 const RibbonGrid& grid,
                                                 const DisparityRange& range,
                                                 std::span<const PairMatch> known,
                                                 const EdgeSearchOptions& options);

}  // namespace seamwright
