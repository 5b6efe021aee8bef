#pragma once

#include <array>

#include "compose/lens_map.h"
#include "projection/equirect.h"

namespace seamwright {

/// A small rectangle of panorama pixels, the unit of rendering. Cells are anchored to the panorama,
/// never to a band or a thread, so that every pixel is computed the same way whatever the order.
struct Cell {
  static constexpr int kSize = 16;
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
  /// Angle from the middle within which the whole cell lies.
  [[nodiscard]] double reach_rad(const Equirect& raster) const;
};

/// Source pixel per panorama pixel of a cell.
using CellSources = std::array<Vec2, Cell::kPixels>;

/// Interpolated source positions stay within this of the exact ones.
inline constexpr double kSourceBound_px = 0.02;

/// Source positions of all pixel centres of a cell that lies wholly inside the lens' field.
///
/// The exact map is evaluated on 3 × 3 nodes and interpolated quadratically both ways; edges are
/// shared, so neighbours join without a step. Along each axis the interpolation's error is
/// f‴ h³ x (x − ½)(x − 1) / 6, which at the quarter points has 97 % of its largest value: four
/// exact evaluations there measure it. Where the sum of both axes exceeds half of kSourceBound_px
/// the cell is divided, down to exact evaluation; the other half is room for f‴ changing within
/// the cell.
void fill_sources(const LensMap& map, const Equirect& raster, const Cell& cell,
                  CellSources& sources);

}  // namespace seamwright
