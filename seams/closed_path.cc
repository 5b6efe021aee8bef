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
        margin_(static_cast<std::size_t>(steps.most)),
        here_(static_cast<std::size_t>(costs.rows) + 2 * margin_, kNever),
        next_(here_.size(), kNever) {
    for (int d = 0; d <= steps.most; ++d) step_.push_back(step_cost(d));
  }

  /// Closed path that begins in row `first`, between the rows of `upper` and `lower`; `lower` rows
  /// included. Its cost is kNever or more if there is none.
  CheapestPath from(int first, const std::vector<int>& upper, const std::vector<int>& lower) {
    std::fill(here_.begin(), here_.end(), kNever);
    here_[at(first)] = costs_.column(0)[first];
    for (int x = 1; x < costs_.columns; ++x) advance(x, upper, lower);
    const std::size_t last = index(costs_.columns - 1);
    int end = -1;
    std::int64_t least = kNever;
    for (int y = upper[last]; y <= lower[last]; ++y) {
      if (std::abs(y - first) > steps_.most) continue;
      const std::int64_t cost = here_[at(y)] + step_[index(std::abs(y - first))];
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
    std::copy_n(costs_.column(0), costs_.rows, here_.data() + margin_);
    for (int x = 1; x < costs_.columns; ++x) advance(x, upper, lower);
    const auto least = std::min_element(here_.begin(), here_.end());
    return traced(static_cast<int>(least - here_.begin() - steps_.most), *least);
  }

 private:
  static std::size_t index(int i) { return static_cast<std::size_t>(i); }
  [[nodiscard]] std::size_t at(int row) const { return margin_ + index(row); }

  [[nodiscard]] std::int64_t step_cost(int rows) const {
    return std::int64_t{steps_.step} * std::abs(rows) + std::int64_t{steps_.bend} * rows * rows;
  }

  // Flatter steps are tried first and upper rows before lower ones: the first of equals stays.
  // Beyond the corridor, and in the margin around the rows, nothing can be reached.
  void advance(int x, const std::vector<int>& upper, const std::vector<int>& lower) {
    const std::int32_t* node = costs_.column(x);
    std::int8_t* came = came_.data() + index(x) * index(costs_.rows);
    std::fill(next_.begin(), next_.end(), kNever);
    for (int y = upper[index(x)]; y <= lower[index(x)]; ++y) {
      const std::int64_t* from = here_.data() + at(y);
      std::int64_t least = from[0];
      int best = 0;
      for (int d = 1; d <= steps_.most; ++d) {
        const std::int64_t above = from[-d] + step_[index(d)];
        best = above < least ? -d : best;
        least = std::min(above, least);
        const std::int64_t below = from[d] + step_[index(d)];
        best = below < least ? d : best;
        least = std::min(below, least);
      }
      next_[at(y)] = least < kNever ? least + node[y] : kNever;
      came[y] = static_cast<std::int8_t>(best);
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
  std::vector<std::int64_t> step_;  // price of a step of so many rows
  std::size_t margin_;              // rows above and below, as many as a step can cross
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
