#include "compose/seams/closed_path.h"

#include <cstdlib>
#include <functional>
#include <limits>

#include <catch2/catch.hpp>

#include "tests/support/random.h"

namespace seamwright {

namespace {

std::int64_t step_price(const StepCosts& steps, int d) {
  return std::int64_t{steps.step} * std::abs(d) + std::int64_t{steps.bend} * d * d;
}

// Cost of a path, added up anew; −1 if it breaks the slope limit.
std::int64_t priced(const PathCosts& costs, const StepCosts& steps, bool closed,
                    const std::vector<int>& path) {
  std::int64_t sum = 0;
  for (std::size_t x = 0; x < path.size(); ++x) {
    sum += costs.column(static_cast<int>(x))[path[x]];
    const std::size_t next = (x + 1) % path.size();
    if (next == 0 && !closed) continue;
    const int d = path[next] - path[x];
    if (std::abs(d) > steps.most) return -1;
    sum += step_price(steps, d);
  }
  return sum;
}

// Every path there is.
std::int64_t least_of_all(const PathCosts& costs, const StepCosts& steps, bool closed) {
  std::int64_t least = std::numeric_limits<std::int64_t>::max();
  std::vector<int> path(static_cast<std::size_t>(costs.columns));
  const std::function<void(std::size_t)> extend = [&](std::size_t x) {
    if (x == path.size()) {
      const std::int64_t price = priced(costs, steps, closed, path);
      if (price >= 0) least = std::min(least, price);
      return;
    }
    for (path[x] = 0; path[x] < costs.rows; ++path[x]) extend(x + 1);
  };
  extend(0);
  return least;
}

PathCosts random_costs(test::Random& random, int columns, int rows, int most) {
  PathCosts costs{columns, rows, {}};
  for (int i = 0; i < columns * rows; ++i) costs.cost.push_back(random.integer(0, most));
  return costs;
}

}  // namespace

TEST_CASE("The cheapest path costs what trying every path finds") {
  CAPTURE(test::seed());
  test::Random random(11);
  int checked = 0;
  for (int round = 0; round < 60; ++round) {
    const int columns = random.integer(1, 6);
    const int rows = random.integer(1, 6);
    // Few different costs: many ties, the hard case.
    const PathCosts costs = random_costs(random, columns, rows, round % 2 == 0 ? 3 : 100);
    const StepCosts steps{random.integer(0, 4), random.integer(0, 3), random.integer(1, 3)};
    const bool closed = round % 3 != 0;
    const CheapestPath path = cheapest_path(costs, steps, closed);
    CAPTURE(columns, rows, closed);
    REQUIRE(path.row.size() == static_cast<std::size_t>(columns));
    CHECK(path.cost == priced(costs, steps, closed, path.row));
    CHECK(path.cost == least_of_all(costs, steps, closed));
    ++checked;
  }
  CHECK(checked == 60);
}

TEST_CASE("A closed path is the best over every first row") {
  CAPTURE(test::seed());
  test::Random random(12);
  const PathCosts costs = random_costs(random, 90, 24, 1000);
  const StepCosts steps{40, 5, 2};
  const CheapestPath path = cheapest_path(costs, steps, true);
  // One search for each first row, which a very dear first column makes certain.
  std::int64_t least = std::numeric_limits<std::int64_t>::max();
  for (int first = 0; first < costs.rows; ++first) {
    PathCosts from = costs;
    constexpr int kDear = 1'000'000;
    for (int y = 0; y < costs.rows; ++y) {
      if (y != first) from.cost[static_cast<std::size_t>(y)] = kDear;
    }
    const CheapestPath one = cheapest_path(from, steps, true);
    CHECK(one.row[0] == first);
    least = std::min(least, one.cost);
  }
  CHECK(path.cost == least);
  CHECK(path.cost == priced(costs, steps, true, path.row));
}

TEST_CASE("Where all costs tie the path runs level") {
  const PathCosts costs{40, 9, std::vector<std::int32_t>(40 * 9, 7)};
  for (const bool closed : {false, true}) {
    const CheapestPath path = cheapest_path(costs, {0, 0, 2}, closed);
    CHECK(path.cost == 40 * 7);
    for (const int row : path.row) CHECK(row == path.row[0]);
  }
}

}  // namespace seamwright
