#pragma once

#include <span>
#include <vector>

namespace seamwright {

/// A thing to be kept or not, in a cell, with a score.
struct SpreadItem {
  int cell = 0;
  double score = 0;  ///< larger is better
};

/// Indices of at most `max_count` items: the best of every cell, then the second best of every
/// cell, and so on, better ones first where the last round does not fit. Ascending.
[[nodiscard]] std::vector<int> spread_evenly(std::span<const SpreadItem> items, int max_count);

}  // namespace seamwright
