#pragma once

// Edge chains on the sphere: cut into nearly great arcs, and arcs that continue each other joined.

#include <span>
#include <vector>

#include "features/edge_chains.h"
#include "features/great_arc.h"
#include "projection/lens.h"

namespace seamwright {

struct EdgeArcOptions {
  double px_per_rad = 300;
  double tolerance_px = 0.8;
  double largest_curvature_per_rad = 0.15;
  double largest_gap_rad = rad_from_deg(8);
  int shortest = 10;                           ///< edge pixels of a piece
  double least_length_rad = rad_from_deg(15);  ///< of a joined arc
  double least_cover = 0.5;                    ///< share of a joined arc that edge pixels cover
};

/// Long joined arcs, lens frame, `normal` towards the bright side; longest pieces first.
[[nodiscard]] std::vector<GreatArc> find_edge_arcs(std::span<const EdgeChain> chains,
                                                   const Lens& lens, const EdgeArcOptions& options);

}  // namespace seamwright
