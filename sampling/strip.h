#pragma once

// A strip: one lens' view of a ribbon. Matching looks for ties in strips, because there the two
// lenses of a pair show the same scene upright, at the same scale and shifted along one axis only.

#include <optional>

#include "projection/ribbon.h"
#include "sampling/resampled_view.h"

namespace seamwright {

/// One lens' view of `grid`; all rasters have the grid's size. x does not wrap: render a `padded`
/// grid for a closed ribbon.
struct Strip : ResampledView {
  RibbonGrid grid;
};

/// Resamples a frame into a ribbon at infinity.
[[nodiscard]] Strip render_strip(const LensView& view, const RibbonGrid& grid,
                                 const NormaliseOptions& options = {});

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
