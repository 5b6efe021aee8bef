#pragma once

// Where exactly an edge runs: one-dimensional, across it.

#include <optional>

#include "imaging/image.h"
#include "sampling/spline_plane.h"

namespace seamwright {

struct EdgeProfileOptions {
  double reach_px = 2.0;     ///< the edge lies within this of where it is looked for
  double clear_px = 3.5;     ///< no other edge within this of it
  double other_share = 0.4;  ///< what counts as another edge, as a share of this one's gradient
  double least_gradient = 0.008;  ///< at the edge, match plane scale per pixel
  double least_sigma_px = 0.02;   ///< no edge is known better than this
};

struct EdgeCrossing {
  double offset_px = 0;  ///< along `across`
  double sigma_px = 0;
};

/// Crosses the edge at `px` along the unit vector `across`, which points to its bright side: the
/// place of the steepest rise, averaged over ±`half_width_px` along the edge. `noise`: deviation of
/// white noise in the plane's picture. Empty where the rise is weak, not alone or too far away.
[[nodiscard]] std::optional<EdgeCrossing> cross_edge(const SplinePlane& plane, const Vec2& px,
                                                     const Vec2& across, double half_width_px,
                                                     double noise,
                                                     const EdgeProfileOptions& options = {});

/// Deviation of the white noise of a grey f32 picture: median response of a second-difference mask
/// (after Immerkær 1996, Computer Vision and Image Understanding 64:300–302). Pixels of exactly 0
/// do not count.
[[nodiscard]] double white_noise(const Image& grey);

}  // namespace seamwright
