#pragma once

// The cheapest path through a raster from left to right, one row a column, closed around it.
//
// Closed: the path ends where it began. Trying every first row costs a search each; but cheapest
// paths from two first rows need not cross, since the price of a step is convex in its height: two
// paths that cross can swap what lies between their crossings and are no dearer. So the search from
// the middle row splits the raster, and the other first rows are searched above and below it, again
// from their middles: the exact answer for width × height × log(height) steps, and less, since
// rows whose paths cost more even with free ends are left out. (The idea is that of
// Maes 1990, Inf. Proc. Letters 35:73–78, for cyclic string alignment, from memory.)
//
// Costs are whole numbers, so that sums are exact and the result is the same everywhere.

#include <cstdint>
#include <vector>

namespace seamwright {

/// Price of a node, rows × columns, column by column: index = x · rows + row.
struct PathCosts {
  int columns = 0;
  int rows = 0;
  std::vector<std::int32_t> cost;

  [[nodiscard]] const std::int32_t* column(int x) const {
    return cost.data() + static_cast<std::ptrdiff_t>(x) * rows;
  }
};

/// A step of d rows between neighbouring columns costs |d| · step + d² · bend, d ≤ most.
struct StepCosts {
  std::int32_t step = 0;
  std::int32_t bend = 0;
  int most = 2;  ///< at least 1
};

struct CheapestPath {
  std::vector<int> row;   ///< by column
  std::int64_t cost = 0;  ///< nodes and steps, the step from the last column to the first included
};

/// `costs` at least one column and row. `closed`: the step from the last to the first column keeps
/// to the same limit and price; otherwise the ends are free. Of paths of one price the flatter,
/// then the upper is taken, column by column.
[[nodiscard]] CheapestPath cheapest_path(const PathCosts& costs, const StepCosts& steps,
                                         bool closed);

}  // namespace seamwright
