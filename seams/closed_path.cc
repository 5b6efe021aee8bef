#include "seams/closed_path.h"

#include <algorithm>
#include <cstddef>
#include <cstdlib>

#include "seams/ribbon_kernels.h"

namespace seamwright {

namespace {

// Searches for the cheapest path within a corridor of rows, anew for every corridor. Costs are whole
// numbers in doubles (ribbon_kernels.h), far from where those end.
class Searcher {
 public:
  Searcher(const PathCosts& costs, const StepCosts& steps)
      : costs_(costs),
        steps_(steps),
        came_(costs.cost.size()),
        margin_(static_cast<std::size_t>(steps.most)),
        here_(static_cast<std::size_t>(costs.rows) + 2 * margin_, kNoPath),
        next_(here_.size(), kNoPath) {
    for (int d = 0; d <= steps.most; ++d) step_.push_back(step_cost(d));
  }

  /// Closed path that begins in row `first`, between the rows of `upper` and `lower`; `lower` rows
  /// included. Without rows if there is none.
  CheapestPath from(int first, const std::vector<int>& upper, const std::vector<int>& lower) {
    std::fill(here_.begin(), here_.end(), kNoPath);
    here_[at(first)] = kPathUnit * costs_.column(0)[first];
    for (int x = 1; x < costs_.columns; ++x) advance(x, upper, lower);
    const std::size_t last = index(costs_.columns - 1);
    int end = -1;
    double least = kNoPath;
    for (int y = upper[last]; y <= lower[last]; ++y) {
      if (std::abs(y - first) > steps_.most) continue;
      const double cost = here_[at(y)] + step_[index(std::abs(y - first))];
      if (end < 0 || cost < least ||
          (cost == least && std::abs(y - first) < std::abs(end - first))) {
        least = cost;
        end = y;
      }
    }
    return end < 0 ? CheapestPath{} : traced(end, least);
  }

  /// Path with free ends.
  CheapestPath open() {
    const std::vector<int> upper(index(costs_.columns), 0);
    const std::vector<int> lower(index(costs_.columns), costs_.rows - 1);
    for (int y = 0; y < costs_.rows; ++y) here_[at(y)] = kPathUnit * costs_.column(0)[y];
    for (int x = 1; x < costs_.columns; ++x) advance(x, upper, lower);
    const auto least = std::min_element(here_.begin(), here_.end());
    return traced(static_cast<int>(least - here_.begin() - steps_.most), *least);
  }

 private:
  static std::size_t index(int i) { return static_cast<std::size_t>(i); }
  [[nodiscard]] std::size_t at(int row) const { return margin_ + index(row); }

  [[nodiscard]] double step_cost(int rows) const {
    return kPathUnit * (1.0 * steps_.step * std::abs(rows) + 1.0 * steps_.bend * rows * rows);
  }

  // Beyond the corridor, and in the margin around the rows, nothing can be reached.
  void advance(int x, const std::vector<int>& upper, const std::vector<int>& lower) {
    const int first = upper[index(x)];
    const int last = lower[index(x)];
    std::fill(next_.begin(), next_.end(), kNoPath);
    path_column(here_.data() + at(first), costs_.column(x) + first, step_.data(), steps_.most,
                index(last - first + 1), next_.data() + at(first),
                came_.data() + index(x) * index(costs_.rows) + index(first));
    std::swap(here_, next_);
  }

  [[nodiscard]] CheapestPath traced(int end, double cost) const {
    CheapestPath path{std::vector<int>(index(costs_.columns)),
                      static_cast<std::int64_t>(cost / kPathUnit)};
    int y = end;
    for (int x = costs_.columns - 1; x >= 0; --x) {
      path.row[index(x)] = y;
      if (x > 0) y += rows_of(came_[index(x) * index(costs_.rows) + index(y)]);
    }
    return path;
  }

  // The rows that a choice of path_column() goes back by: flatter ones first, upper before lower.
  static int rows_of(std::int8_t choice) { return choice % 2 == 0 ? choice / 2 : -(choice + 1) / 2; }

  const PathCosts& costs_;
  const StepCosts& steps_;
  std::vector<std::int8_t> came_;
  std::vector<double> step_;  // price of a step of so many rows
  std::size_t margin_;        // rows above and below, as many as a step can cross
  std::vector<double> here_;
  std::vector<double> next_;
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
