#pragma once

#include <span>
#include <vector>

#include "projection/conventions.h"

namespace seamwright {

/// A thing to be kept or not, in a cell, with a score.
struct SpreadItem {
  int cell = 0;
  double score = 0;  ///< larger is better
};

/// Indices of at most `max_count` items: the best of every cell, then the second best of every
/// cell, and so on, better ones first where the last round does not fit. Ascending.
[[nodiscard]] std::vector<int> spread_evenly(std::span<const SpreadItem> items, int max_count);

/// Cell of a direction: bands of equal height around the rig's y axis, each cut into twice as many
/// sectors. 0 … 2 bands² − 1.
[[nodiscard]] int sphere_cell(const Vec3& direction, int bands);

}  // namespace seamwright
