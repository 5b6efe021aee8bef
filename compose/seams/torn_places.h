#pragma once

// Where a warp and a seam put beside each other what no lens shows beside each other.
//
// Between neighbouring pixels that come from one lens and from places a pixel apart the panorama
// shows what that lens shows. Elsewhere (at an edge of depth, at the seam, beside what one lens
// does not see) it may make an edge of its own. Such an edge is as it should be where one of both
// lenses has an edge that strong at its place: a thing ends there. What is stronger than both is
// torn: depth that jumps in the middle of a thing, a speck, a thing cut by the seam.

#include <vector>

#include "compose/seams/seam_path.h"
#include "compose/seams/seam_views.h"
#include "compose/seams/view_warp.h"
#include "projection/conventions.h"

namespace seamwright {

struct TornOptions {
  double apart_px = 0.75;   ///< places of one lens that are farther apart are no neighbours
  double allowance = 0.15;  ///< of log light: noise and interpolation
  int join_px = 6;          ///< torn edges this close are one place
  double least_torn = 8;  ///< sum over a place of log light beyond the allowance: less is not seen
};

/// One place that is torn.
struct TornPlace {
  Vec2 middle_px =
      Vec2::Zero();  ///< of the edges, weighted; the column may lie beyond a closed wrap
  int left = 0;      ///< box around them: columns, right may go on over the wrap …
  int right = 0;     ///< … one past the last
  int top = 0;
  int bottom = 0;
  double torn = 0;  ///< sum over the edges of log light beyond what either lens shows
};

/// What the lenses show of one ribbon, and how that becomes the panorama.
struct JoinedViews {
  const ViewWarp& warp;
  const SeamViews& unwarped;  ///< at infinity: what each lens itself shows; of the warp's size
  const SeamPath& path;
};

/// How much is torn between a pixel and its right and lower neighbours: grey f32.
[[nodiscard]] Image torn_edges(const JoinedViews& views, const TornOptions& options = {});

/// Places that are torn, by column, then row.
[[nodiscard]] std::vector<TornPlace> torn_places(const Image& edges, bool closed,
                                                 const TornOptions& options = {});

}  // namespace seamwright
