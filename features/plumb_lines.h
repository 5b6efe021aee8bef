#pragma once

// Plumb lines: long straight edges of the scene, whose pictures tell a lens' curve, centre and
// decentring whatever their distance (Brown 1971, Photogrammetric Engineering 37:855–866; for
// fisheyes straight edges are great circles instead of lines).
//
// Chains of edge pixels (edge_chains.h) are taken to the sphere through the lens as known so far
// and cut into nearly great arcs; arcs that continue each other are joined over gaps, the bright
// side always on the same hand; along the joined arc the edge is then measured across itself in the
// sharp frame. What needs more than a great circle and a slight, smooth bow is no straight edge.
// True curves that are nearly straight can still be among the lines: the solve has to be robust.

#include <optional>
#include <vector>

#include "base/result.h"
#include "features/edge_chains.h"
#include "features/edge_profile.h"
#include "imaging/pictures.h"
#include "projection/plumb_line.h"
#include "projection/rig.h"

namespace seamwright {

struct PlumbLineOptions {
  int max_lines = 60;     ///< a frame, evenly over the sphere
  int max_points = 40;    ///< a line
  int least_points = 14;  ///< a line with fewer is dropped
  double least_length_rad = rad_from_deg(15);
  double largest_gap_rad = rad_from_deg(8);  ///< between pieces of one line
  double spacing_px = 4;                     ///< least distance between points
  /// Curvature against a great circle that a wrong lens may cause, 1/rad: an arc of length L bows
  /// by an eighth of it times L². About 0.15 for a nominal lens, 0.02 for a solved one.
  double largest_curvature_per_rad = 0.15;
  double chain_tolerance_px = 0.8;   ///< of edge pixels to their arc
  double largest_scatter_px = 0.35;  ///< RMS of a line's points about its bowed arc
  EdgeChainOptions chains;
  EdgeProfileOptions profile;

  [[nodiscard]] std::optional<Error> validate() const;
};

/// Lines of one shot, by lens. One frame a lens, any sample type and channels (the green one is
/// used), of the rig's frame size. Same frames, same lines, whatever the thread count. Fails on
/// wrong frame count or size.
[[nodiscard]] Result<std::vector<PlumbLine>> find_plumb_lines(const Pictures& frames,
                                                              const Rig& rig, int shot,
                                                              const PlumbLineOptions& options = {});

}  // namespace seamwright
