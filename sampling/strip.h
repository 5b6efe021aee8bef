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

/// A place of a pair's ribbon as one of its lenses shows it.
struct RibbonPlace {
  Vec2 at = Vec2::Zero();            ///< ribbon px of the pair's grid, without padding
  Vec2 px = Vec2::Zero();            ///< of the frame
  Mat2 px_by_at = Mat2::Identity();  ///< d px / d at
  Vec3 direction = Vec3::UnitZ();    ///< unit, rig frame, at infinity
};

/// The place of a ribbon px through the lens at infinity; empty outside its field of view.
[[nodiscard]] std::optional<RibbonPlace> ribbon_place(const RibbonGrid& grid,
                                                      const MountedLens& lens, const Vec2& at);

/// Strip position of a frame pixel, x wrapped as RibbonGrid::position does; empty outside the
/// field of view.
[[nodiscard]] std::optional<Vec2> strip_position(const RibbonGrid& grid, const MountedLens& lens,
                                                 const Vec2& frame_px);

}  // namespace seamwright
