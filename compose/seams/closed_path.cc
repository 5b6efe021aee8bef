#include "compose/seams/closed_path.h"

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdlib>

#include "compose/seams/ribbon_kernels.h"

namespace seamwright {

namespace {

// Searches for the cheapest path within a corridor of rows, anew for every corridor. Costs are
// whole numbers in doubles (ribbon_kernels.h), far from where those end.
class Searcher {
 public:
  Searcher(const PathCosts& costs, const StepCosts& steps)
      : costs_(costs),
        steps_(steps),
        came_(costs.cost.size()),
        margin_(2 * static_cast<std::size_t>(steps.most)),
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

  /// What every closed path that begins between rows `above` and `below`, exclusive, costs at
  /// least: it need not end where it began.
  std::int64_t least_between(int above, int below, const std::vector<int>& upper,
                             const std::vector<int>& lower) {
    std::fill(here_.begin(), here_.end(), kNoPath);
    for (int y = above + 1; y < below; ++y) here_[at(y)] = kPathUnit * costs_.column(0)[y];
    for (int x = 1; x < costs_.columns; ++x) advance(x, upper, lower);
    const std::size_t last = index(costs_.columns - 1);
    const int top = std::max(upper[last], above + 1 - steps_.most);
    const int bottom = std::min(lower[last], below - 1 + steps_.most);
    double least = kNoPath;
    for (int y = top; y <= bottom; ++y) least = std::min(least, here_[at(y)]);
    return static_cast<std::int64_t>(least / kPathUnit);
  }

  /// Path with free ends.
  CheapestPath open() {
    const std::vector<int> upper(index(costs_.columns), 0);
    const std::vector<int> lower(index(costs_.columns), costs_.rows - 1);
    for (int y = 0; y < costs_.rows; ++y) here_[at(y)] = kPathUnit * costs_.column(0)[y];
    for (int x = 1; x < costs_.columns; ++x) advance(x, upper, lower);
    const auto least = std::min_element(here_.begin(), here_.end());
    return traced(static_cast<int>(least - here_.begin()) - static_cast<int>(margin_), *least);
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
    // Corridors move by a step a column: what the next one reads beside this one is empty.
    const auto beside = static_cast<std::ptrdiff_t>(margin_);
    const auto top = next_.begin() + static_cast<std::ptrdiff_t>(at(first));
    const auto bottom = next_.begin() + static_cast<std::ptrdiff_t>(at(last)) + 1;
    std::fill(top - beside, top, kNoPath);
    std::fill(bottom, bottom + beside, kNoPath);
    path_column({here_.data() + at(first), costs_.column(x) + first, step_.data(), steps_.most},
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
  static int rows_of(std::int8_t choice) {
    return choice % 2 == 0 ? choice / 2 : -(choice + 1) / 2;
  }

  const PathCosts& costs_;
  const StepCosts& steps_;
  std::vector<std::int8_t> came_;
  std::vector<double> step_;  // price of a step of so many rows
  std::size_t margin_;        // rows above and below, as many as two steps can cross
  std::vector<double> here_;
  std::vector<double> next_;
};

// Rows to begin in, exclusive, and the cheapest paths of those that bound them.
struct Between {
  int above;
  int below;
  const std::vector<int>& upper;
  const std::vector<int>& lower;

  [[nodiscard]] bool empty() const { return below - above < 2; }
};

// The best path among those that begin between. Of the two parts that a path leaves the more
// promising is searched first; the other one seldom has to be.
void search_between(Searcher& searcher, const Between& rows, CheapestPath& best) {
  const int first = rows.above + (rows.below - rows.above) / 2;
  const CheapestPath path = searcher.from(first, rows.upper, rows.lower);
  if (path.row.empty()) return;
  if (best.row.empty() || path.cost < best.cost ||
      (path.cost == best.cost && first < best.row[0])) {
    best = path;
  }
  const std::array<Between, 2> parts = {
      {{rows.above, first, rows.upper, path.row}, {first, rows.below, path.row, rows.lower}}};
  std::array<std::int64_t, 2> least{};
  for (std::size_t i = 0; i < parts.size(); ++i) {
    const auto& [above, below, upper, lower] = parts[i];
    if (!parts[i].empty()) least[i] = searcher.least_between(above, below, upper, lower);
  }
  const std::size_t sooner = least[1] < least[0] ? 1 : 0;
  for (const std::size_t i : {sooner, 1 - sooner}) {
    if (parts[i].empty() || least[i] > best.cost) continue;
    search_between(searcher, parts[i], best);
  }
}

}  // namespace

CheapestPath cheapest_path(const PathCosts& costs, const StepCosts& steps, bool closed) {
  Searcher searcher(costs, steps);
  if (!closed) return searcher.open();
  const std::vector<int> upper(static_cast<std::size_t>(costs.columns), 0);
  const std::vector<int> lower(static_cast<std::size_t>(costs.columns), costs.rows - 1);
  CheapestPath best;
  search_between(searcher, {-1, costs.rows, upper, lower}, best);
  return best;
}

}  // namespace seamwright
