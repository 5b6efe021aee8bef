#include "seams/closed_path.h"

#include <algorithm>
#include <cstdlib>
#include <limits>

namespace seamwright {

namespace {

constexpr std::int64_t kNever = std::numeric_limits<std::int64_t>::max() / 4;

// Searches for the cheapest path within a corridor of rows, anew for every corridor.
class Searcher {
 public:
  Searcher(const PathCosts& costs, const StepCosts& steps)
      : costs_(costs),
        steps_(steps),
        came_(costs.cost.size()),
        here_(static_cast<std::size_t>(costs.rows)),
        next_(static_cast<std::size_t>(costs.rows)) {}

  /// Closed path that begins in row `first`, between the rows of `upper` and `lower`; `lower` rows
  /// included. Its cost is kNever or more if there is none.
  CheapestPath from(int first, const std::vector<int>& upper, const std::vector<int>& lower) {
    std::fill(here_.begin(), here_.end(), kNever);
    here_[index(first)] = costs_.column(0)[first];
    for (int x = 1; x < costs_.columns; ++x) advance(x, upper, lower);
    const std::size_t last = index(costs_.columns - 1);
    int end = -1;
    std::int64_t least = kNever;
    for (int y = upper[last]; y <= lower[last]; ++y) {
      if (std::abs(y - first) > steps_.most) continue;
      const std::int64_t cost = here_[index(y)] + step_cost(y - first);
      if (end < 0 || cost < least ||
          (cost == least && std::abs(y - first) < std::abs(end - first))) {
        least = cost;
        end = y;
      }
    }
    return end < 0 ? CheapestPath{{}, kNever} : traced(end, least);
  }

  /// Path with free ends.
  CheapestPath open() {
    const std::vector<int> upper(index(costs_.columns), 0);
    const std::vector<int> lower(index(costs_.columns), costs_.rows - 1);
    std::copy_n(costs_.column(0), costs_.rows, here_.begin());
    for (int x = 1; x < costs_.columns; ++x) advance(x, upper, lower);
    const auto least = std::min_element(here_.begin(), here_.end());
    return traced(static_cast<int>(least - here_.begin()), *least);
  }

 private:
  static std::size_t index(int i) { return static_cast<std::size_t>(i); }

  [[nodiscard]] std::int64_t step_cost(int rows) const {
    return std::int64_t{steps_.step} * std::abs(rows) + std::int64_t{steps_.bend} * rows * rows;
  }

  // Flatter steps are tried first and upper rows before lower ones: the first of equals stays.
  void advance(int x, const std::vector<int>& upper, const std::vector<int>& lower) {
    const int top = upper[index(x - 1)];
    const int bottom = lower[index(x - 1)];
    const std::int32_t* node = costs_.column(x);
    std::fill(next_.begin(), next_.end(), kNever);
    for (int y = upper[index(x)]; y <= lower[index(x)]; ++y) {
      std::int64_t least = kNever;
      int best = 0;
      for (int d = 0; d <= steps_.most; ++d) {
        const std::int64_t step = step_cost(d);
        for (int from = y - d;; from = y + d) {
          if (from >= top && from <= bottom && here_[index(from)] + step < least) {
            least = here_[index(from)] + step;
            best = from - y;
          }
          if (from == y + d) break;
        }
      }
      next_[index(y)] = least < kNever ? least + node[y] : kNever;
      came_[index(x) * index(costs_.rows) + index(y)] = static_cast<std::int8_t>(best);
    }
    std::swap(here_, next_);
  }

  [[nodiscard]] CheapestPath traced(int end, std::int64_t cost) const {
    CheapestPath path{std::vector<int>(index(costs_.columns)), cost};
    int y = end;
    for (int x = costs_.columns - 1; x >= 0; --x) {
      path.row[index(x)] = y;
      if (x > 0) y += came_[index(x) * index(costs_.rows) + index(y)];
    }
    return path;
  }

  const PathCosts& costs_;
  const StepCosts& steps_;
  std::vector<std::int8_t> came_;
  std::vector<std::int64_t> here_;
  std::vector<std::int64_t> next_;
};

// The best path among those that begin in (above, below), exclusive; `upper` and `lower` are the
// cheapest paths of the rows that bound them.
void search_between(Searcher& searcher, int above, int below, const std::vector<int>& upper,
                    const std::vector<int>& lower, CheapestPath& best) {
  if (below - above < 2) return;
  const int first = above + (below - above) / 2;
  const CheapestPath path = searcher.from(first, upper, lower);
  if (path.row.empty()) return;
  if (best.row.empty() || path.cost < best.cost ||
      (path.cost == best.cost && first < best.row[0])) {
    best = path;
  }
  search_between(searcher, above, first, upper, path.row, best);
  search_between(searcher, first, below, path.row, lower, best);
}

}  // namespace

CheapestPath cheapest_path(const PathCosts& costs, const StepCosts& steps, bool closed) {
  Searcher searcher(costs, steps);
  if (!closed) return searcher.open();
  const std::vector<int> upper(static_cast<std::size_t>(costs.columns), 0);
  const std::vector<int> lower(static_cast<std::size_t>(costs.columns), costs.rows - 1);
  CheapestPath best;
  search_between(searcher, -1, costs.rows, upper, lower, best);
  return best;
}

}  // namespace seamwright
