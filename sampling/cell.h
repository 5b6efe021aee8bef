#pragma once

#include <cstddef>

#include "projection/equirect.h"
#include "projection/ribbon.h"

namespace seamwright {

/// A small rectangle of a raster's pixels, the unit of reading. Cells are anchored to the raster,
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
  [[nodiscard]] double reach_rad(const RibbonGrid& raster) const {
    return 0.5 * (width + height) / raster.px_per_rad;
  }
};

/// Cells of a raster of this size, row by row: how many, and which is the i-th.
struct CellTiling {
  int width_px = 0;
  int height_px = 0;

  [[nodiscard]] int across() const { return (width_px + Cell::kSize - 1) / Cell::kSize; }
  [[nodiscard]] int count() const {
    return across() * ((height_px + Cell::kSize - 1) / Cell::kSize);
  }
  [[nodiscard]] Cell at(int i) const {
    Cell cell{.x = i % across() * Cell::kSize, .y = i / across() * Cell::kSize};
    cell.width = width_px - cell.x < Cell::kSize ? width_px - cell.x : Cell::kSize;
    cell.height = height_px - cell.y < Cell::kSize ? height_px - cell.y : Cell::kSize;
    return cell;
  }
};

}  // namespace seamwright
