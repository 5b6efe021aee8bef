#pragma once

// Two views of a made-up ribbon that agree, to be disturbed by a test.

#include <array>
#include <functional>

#include "compose/seams/seam_views.h"

namespace seamwright::test {

using Light = std::array<double, 3>;

/// Light at continuous coordinates of a ribbon, given as shares of its width and height.
using Wall = std::function<Light(double x, double y)>;

/// Waves of many sizes, without a seam around x.
[[nodiscard]] Light wavy(double x, double y);
/// One even tone.
[[nodiscard]] Light plain(double x, double y);

/// Both lenses see the whole of it.
[[nodiscard]] SeamViews ribbon_views(int width, int height, bool closed, const Wall& wall = wavy);

/// Multiplies a view's light, per channel.
void expose(Image& light, const Light& factor);

/// Lays an even tone over columns [left, right) (wrapped) and rows [top, bottom).
void paint(Image& light, int left, int right, int top, int bottom, const Light& tone);
/// The same for a raster of states or wishes.
void mark(Image& raster, int left, int right, int top, int bottom, int value);

/// The raster with column `by` moved to the front.
[[nodiscard]] Image rotated(const Image& raster, int by);
[[nodiscard]] SeamViews rotated(const SeamViews& views, int by);

}  // namespace seamwright::test
