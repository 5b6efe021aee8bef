#pragma once

// A strip: one lens' view of a ribbon. Matching looks for ties in strips, because there the two
// lenses of a pair show the same scene upright, at the same scale and shifted along one axis only.
//
// Brightness is made comparable in two steps. `match_plane` (lens_view.h) takes the green channel:
// the one that the lens model describes; a mix of colours would smear by the lateral colour of the
// lens. The strip's `normalised` raster then has its local mean removed and is divided by its local
// deviation plus a noise floor, so that exposure, colour casts and vignetting do not matter.

#include <optional>

#include "features/lens_view.h"
#include "imaging/image.h"
#include "projection/ribbon.h"

namespace seamwright {

struct NormaliseOptions {
  int window_px = 31;          ///< side of the local window, odd, 9…101
  float noise_floor = 0.004F;  ///< deviation that counts as noise, on match_plane's 0…1 scale
};

/// One lens' view of `grid`; all rasters have the grid's size. x does not wrap: render a `padded`
/// grid for a closed ribbon.
struct Strip {
  RibbonGrid grid;
  Image raw;         ///< grey f32, resampled match plane; 0 where not valid
  Image normalised;  ///< grey f32, local mean 0 and deviation about 1; 0 where not valid
  Image valid;       ///< grey u8, 255 where the lens sees the direction
};

/// Resamples a frame into a ribbon at infinity, rows in parallel: cubic B-spline, averaged over the
/// strip pixel where the grid is coarser than the frame. Source positions are exact on every eighth
/// pixel and interpolated between (within 0.03 frame pixels at native resolution).
[[nodiscard]] Strip render_strip(const LensView& view, const RibbonGrid& grid,
                                 const NormaliseOptions& options = {});

/// Sets `normalised` from `raw` and `valid`.
void normalise(Strip& strip, const NormaliseOptions& options);

/// The same ribbon with `pad_px` more columns on both sides, not closed: column x of `grid` is
/// column x + pad_px. On a closed ribbon the added columns repeat the other end.
[[nodiscard]] RibbonGrid padded(const RibbonGrid& grid, int pad_px);

/// Where a strip pixel lies in the frame.
struct FramePosition {
  Vec2 px = Vec2::Zero();
  Mat2 jacobian = Mat2::Identity();  ///< d frame px / d strip px
};

/// Through the lens at infinity; empty outside its field of view.
[[nodiscard]] std::optional<FramePosition> frame_position(const RibbonGrid& grid,
                                                          const MountedLens& lens,
                                                          const Vec2& strip_px);

/// Strip position of a frame pixel, x wrapped as RibbonGrid::position does; empty outside the
/// field of view.
[[nodiscard]] std::optional<Vec2> strip_position(const RibbonGrid& grid, const MountedLens& lens,
                                                 const Vec2& frame_px);

}  // namespace seamwright
