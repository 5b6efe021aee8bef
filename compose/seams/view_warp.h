#pragma once

// How each lens of a pair must be read so that both show the scene from the walking viewpoint
// (viewpoint_slide.h): one shift of the colatitude per lens and ribbon pixel.
//
// In the panorama's ribbon, a direction (ψ, η) shows what lens a shows in its own direction
// (ψ, η + shift_a), and lens b in (ψ, η + shift_b). Where only lens a reaches shift_a is zero, with
// zero slope at the overlap's border; likewise for b.

#include <cstdint>
#include <vector>

#include "compose/seams/ribbon_depth.h"
#include "compose/seams/viewpoint_slide.h"
#include "imaging/image.h"

namespace seamwright {

/// All rasters have the grid's size and show the panorama's own view.
struct ViewWarp {
  RibbonGrid grid;
  double half_baseline_m = 0;
  double gap_inverse_m = 0;     ///< neighbours that differ by more are different surfaces
  double px_per_inverse_m = 0;  ///< largest disparity in px of an inverse distance of one
  Image shift_a_rad;            ///< grey f32, lens a's colatitude minus the panorama's; ≥ 0
  Image shift_b_rad;            ///< grey f32, ≤ 0
  /// grey u8: bit 0 lens a shows the point, bit 1 lens b. Where something hides it from a lens,
  /// that lens' shift leads to the nearest that it does show.
  Image seen_by;
  Image inverse_m;   ///< grey f32, 1/m, from the middle of the pupils
  Image confidence;  ///< grey f32, 0…1; 0 where filled
  std::vector<float>
      strength;  ///< of the walk, by column: 0 where other pairs' seams meet this one
};

inline constexpr std::uint8_t kSeenByA = 1;
inline constexpr std::uint8_t kSeenByB = 2;

/// The warp that `depth` and a walk over the same grid ask for. Along each column what a lens reads
/// never runs backwards: no fold, nothing twice.
[[nodiscard]] ViewWarp view_warp(const RibbonDepth& depth, const ViewpointSlide& slide);

/// Where `gaps` (grey u8 of the grid's size) is not 0, depth means nothing: two lenses that show a
/// moving thing at two places, or a thing too near, were matched at random. Takes the depth there
/// from beside the gap instead, evenly from left to right, so that each lens shows it undistorted.
/// Returns true for the columns in which the warp has changed.
std::vector<bool> calm_warp(ViewWarp& warp, const ViewpointSlide& slide, const Image& gaps);

}  // namespace seamwright
