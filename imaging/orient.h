#pragma once

// Pixels moved about, values untouched; profile and transfer are carried.

#include "imaging/image.h"

namespace seamwright {

/// Turned clockwise by `turns` × 90°; any whole number, negative is counter-clockwise.
[[nodiscard]] Image rotate_quarter_turns(const Image& image, int turns);

[[nodiscard]] Image mirror_left_right(const Image& image);

/// Columns [left, left + width) and rows [top, top + height), which must lie inside (asserted).
[[nodiscard]] Image crop(const Image& image, int left, int top, int width, int height);

/// The upright picture of one stored with TIFF 6.0 Orientation (tag 274) 1…8; other values count
/// as 1.
[[nodiscard]] Image upright(Image image, int orientation);

}  // namespace seamwright
