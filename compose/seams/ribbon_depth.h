#pragma once

// Dense depth in a pair's ribbon: how far everything is that both lenses may show.
//
// Both strips are compared over inverse distances from infinity to the nearest (match_cost.h), the
// costs are smoothed semi-globally (cost_aggregation.h) once for each lens' own view, so that depth
// edges follow each picture's edges, and the two results confirm each other (depth_check.h).
// common_view.h shows them from elsewhere on the baseline.

#include <optional>
#include <span>

#include "base/result.h"
#include "compose/seams/cost_aggregation.h"
#include "compose/seams/lens_depth.h"
#include "projection/ribbon.h"
#include "sampling/lens_view.h"

namespace seamwright {

/// A point of known depth, for example a refined tie: pulls the depth around it.
struct DepthAnchor {
  Vec3 direction = Vec3::UnitX();  ///< rig frame, from the middle of the pupils, any length > 0
  double inverse_m = 0;            ///< 1/m from there
};

struct RibbonDepthOptions {
  double nearest_m = 0.3;         ///< nothing is nearer; of metric rigs
  double nearest_baselines = 11;  ///< the same for rigs of unknown scale
  double step_px = 0.5;           ///< disparity between depth hypotheses, 0.25…2
  double agree_px = 1.2;          ///< disparities of the two lenses that confirm each other
  int window_px = 31;             ///< of the local normalisation, odd, 9…101
  int least_island_px = 100;      ///< smaller patches of depth that stand alone are not believed
  /// Larger patches are surfaces of their own; smaller ones are joined to what lies around them
  /// where that explains both pictures as well. Solid angle.
  double most_island_rad2 = 0.04;
  int anchor_reach_px = 8;  ///< an anchor pulls pixels this far around it; 0: only its own
  /// Hypotheses × pixels that are held in memory, three bytes each. A larger ribbon is matched in a
  /// raster that is coarser by a whole factor.
  double most_cells = 150e6;
  /// Tries everywhere only the hypotheses near what a raster half as fine shows around there; else
  /// all of them.
  bool coarse_first = true;
  Smoothness smoothness = {};

  /// In the unit of a rig that is `metric` or not.
  [[nodiscard]] double nearest(bool metric) const { return metric ? nearest_m : nearest_baselines; }
  [[nodiscard]] std::optional<Error> validate() const;
};

/// Everything that is known about depth in a ribbon. All rasters have the grid's size.
struct RibbonDepth {
  RibbonGrid grid;              ///< as asked for, or coarser (most_cells)
  double half_baseline_m = 0;   ///< lens a's pupil stands at +this on the pole, lens b's at −this
  double px_per_inverse_m = 0;  ///< largest disparity in px of an inverse distance of one
  double gap_inverse_m = 0;     ///< neighbours that differ by more are different surfaces
  LensDepth of_a = {};          ///< as lens a sees it
  LensDepth of_b = {};
};

/// The raster in which a ribbon is matched: `grid`, or a coarser one where that would be too large
/// (RibbonDepthOptions::most_cells). Pupils at ±`half_m`; `nearest` in the rig's unit.
[[nodiscard]] RibbonGrid depth_raster(const RibbonGrid& grid, double half_m, double nearest,
                                      const RibbonDepthOptions& options = {});

/// Depth of a pair in `grid`, which must lie along the pair's baseline (overlap_of,
/// matching_grid). Anchors outside the grid are ignored. Fails on bad options and on pupils closer
/// than a tenth of a millimetre, where there is no parallax to measure.
[[nodiscard]] Result<RibbonDepth> ribbon_depth(const LensView& a, const LensView& b,
                                               const RibbonGrid& grid, bool metric,
                                               const RibbonDepthOptions& options = {},
                                               std::span<const DepthAnchor> anchors = {});

}  // namespace seamwright
