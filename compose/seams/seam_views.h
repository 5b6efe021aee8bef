#pragma once

// What a seam is chosen and blended from: both lenses' views of one ribbon, warped so that what
// both see lies on the same pixel.
//
// Rows run along η from lens a's pole: above the seam (smaller rows) the picture is lens a's, below
// it lens b's. A seam through column x at row r gives the pixels whose centres lie above r to a.

#include <cstdint>
#include <optional>

#include "base/result.h"
#include "imaging/image.h"

namespace seamwright {

/// What one lens knows about a pixel.
enum class ViewState : std::uint8_t {
  good,     ///< seen, with its full light
  clipped,  ///< seen, but some channel has lost its light
  hidden,   ///< in the field, but behind something nearer, whose colour the lens shows instead
  outside,  ///< beyond the lens' field or frame
};

/// What a person wants of a pixel, drawn by hand or found.
enum class SeamWish : std::uint8_t {
  none,
  preferred,  ///< the seam prefers to pass here
  forbidden,  ///< the seam passes here only if there is no other way
  from_a,     ///< lens a's picture is wanted here
  from_b,
};

/// All rasters have one size; those of depth and wish may be empty where nothing is known.
struct SeamViews {
  Image light_a;  ///< grey or RGB f32, linear light, white at 1
  Image light_b;  ///< the same kind
  Image state_a;  ///< grey u8, ViewState
  Image state_b;
  bool closed = false;  ///< the first column follows the last

  Image inverse_m;           ///< grey f32, 1/m: depth of the view that is composed
  Image confidence;          ///< grey f32, 0…1
  double gap_inverse_m = 0;  ///< neighbours that differ by more are different surfaces
  Image wish;                ///< grey u8, SeamWish
  Image dearness;            ///< grey f32 ≥ 0: added to the cost of passing a pixel (the stand)
};

/// Names the raster that is missing or does not fit the others.
[[nodiscard]] std::optional<Error> check(const SeamViews& views);

/// Rows that both lenses have in one column: the seam may lie in [top, bottom], row boundaries.
/// Where the fields do not meet, both are the middle of the raster.
struct SeamRoom {
  int top = 0;
  int bottom = 0;
};

/// The room of column x: its longest run of pixels inside both fields.
[[nodiscard]] SeamRoom seam_room(const SeamViews& views, int x);

/// State of a pixel.
[[nodiscard]] inline ViewState state_at(const Image& state, int x, int y) {
  return static_cast<ViewState>(state.row<std::uint8_t>(y)[static_cast<std::size_t>(x)]);
}

}  // namespace seamwright
