#pragma once

// The image circle: where a circular fisheye's bright picture ends and its dark surround begins.
//
// Along many rays from the middle of the frame the steep rises from dark to bright are collected,
// outside first. The circle is the one that most rays agree with and that leaves the least light
// outside of it (random sampling, fixed seed): scenes are often dark right at the rim, so a rise
// inside the circle tells little, while one outside speaks against it. Then the place where light
// ends is measured on each ray at full resolution, averaged along the rim, and a circle is fitted
// to these by Gauss–Newton with Tukey weights. On a sharp rim that is the edge itself; on a soft
// one, as real lenses have it (a few percent of the radius wide), the outer foot of the fall-off.

#include "base/result.h"
#include "imaging/image.h"
#include "projection/conventions.h"

namespace seamwright {

struct ImageCircle {
  Vec2 centre_px = Vec2::Zero();  ///< pixels of the frame (conventions.h); may lie outside it
  double radius_px = 0;
  double residual_px = 0;  ///< RMS distance of the rim's points from the circle
  double coverage = 0;     ///< share of the full turn where the rim was seen, 0…1
};

struct ImageCircleOptions {
  int rays = 720;                   ///< around the turn, 90…7200
  double smallest_radius = 0.2;     ///< share of the frame's shorter side
  double largest_radius = 0.8;      ///< share of the frame's diagonal
  double least_coverage = 0.06;     ///< less rim than this is no proof of a circle
  double most_light_outside = 0.3;  ///< share of what lies outside that may be bright
  int least_corners = 3;            ///< of the frame that must lie outside
};

/// Any sample type and channels; the rim may be cut by the frame's borders. Fails where there is no
/// bright disc on a dark surround: a picture that fills the frame, or no light at all. Same
/// picture, same result, whatever the thread count.
[[nodiscard]] Result<ImageCircle> find_image_circle(const Image& image,
                                                    const ImageCircleOptions& options = {});

}  // namespace seamwright
