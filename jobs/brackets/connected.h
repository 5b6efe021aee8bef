#pragma once

#include <vector>

#include "imaging/plane.h"

namespace seamwright {

/// The connected parts of a mask.
struct Regions {
  Plane<int> label;          ///< 0 outside, 1… inside, numbered by their first pixel in row order
  std::vector<int> size_px;  ///< of each label; entry 0 is not used

  [[nodiscard]] int count() const { return static_cast<int>(size_px.size()) - 1; }
};

/// Pixels that touch, diagonals included, belong together.
[[nodiscard]] Regions connected_regions(const Mask& mask);

}  // namespace seamwright
