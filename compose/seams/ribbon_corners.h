#pragma once

#include <algorithm>
#include <array>
#include <cstddef>

namespace seamwright {

/// The four pixels around a place of a ribbon's raster and their weights: what rasters of a ribbon
/// are read with between their pixels. Columns wrap on a closed ribbon; beyond all other ends the
/// outermost pixels are held.
struct RibbonCorners {
  std::array<std::size_t, 2> column{};
  std::array<std::size_t, 2> row{};
  float right = 0;  ///< share of column[1]
  float down = 0;   ///< share of row[1]

  RibbonCorners() = default;
  /// Continuous pixels, `x_px` not below 0 and, on a closed ribbon, not above the width.
  RibbonCorners(double x_px, double row_px, int width_px, int height_px, bool closed) {
    // Above the raster everything is held; rows from there on are positive when two are added.
    const double row_held = std::max(row_px, -1.0);
    const int left = static_cast<int>(x_px + 0.5) - 1;
    const int top = static_cast<int>(row_held + 1.5) - 2;
    right = static_cast<float>(x_px - 0.5 - left);
    down = static_cast<float>(row_held - 0.5 - top);
    for (int i = 0; i < 2; ++i) {
      int x = left + i;
      if (closed) x = x < 0 ? x + width_px : x >= width_px ? x - width_px : x;
      column[static_cast<std::size_t>(i)] =
          static_cast<std::size_t>(std::clamp(x, 0, width_px - 1));
      row[static_cast<std::size_t>(i)] =
          static_cast<std::size_t>(std::clamp(top + i, 0, height_px - 1));
    }
  }

  /// Mean of value(row, column), a float.
  template <class Value>
  [[nodiscard]] float mean(const Value& value) const {
    const float above_left = value(row[0], column[0]);
    const float below_left = value(row[1], column[0]);
    const float above = above_left + right * (value(row[0], column[1]) - above_left);
    const float below = below_left + right * (value(row[1], column[1]) - below_left);
    return above + down * (below - above);
  }
};

}  // namespace seamwright
