#pragma once

#include <cstddef>

#include "projection/equirect.h"

namespace seamwright {

/// A small rectangle of panorama pixels, the unit of rendering. Cells are anchored to the panorama,
/// never to a band or a thread, so that every pixel is computed the same way whatever the order.
/// Their source pixels lie close together, too: a cell works out of the processor's first cache.
struct Cell {
  static constexpr int kSize = 32;
  static constexpr int kPixels = kSize * kSize;

  int x = 0;
  int y = 0;
  int width = kSize;   ///< 1…kSize
  int height = kSize;  ///< 1…kSize

  /// Place of a pixel of the cell in per-cell arrays.
  [[nodiscard]] static std::size_t index(int column, int row) {
    return static_cast<std::size_t>(row * kSize + column);
  }
  [[nodiscard]] Vec2 middle() const { return {x + 0.5 * width, y + 0.5 * height}; }
  /// Angle from the middle within which the whole cell lies. A step along a parallel moves by at
  /// most the longitude's change.
  [[nodiscard]] double reach_rad(const Equirect& raster) const {
    return 0.5 * (width * 2.0 * kPi / raster.width + height * kPi / raster.height);
  }
};

}  // namespace seamwright
