#include "sampling/cell_fill.h"

#include <cmath>
#include <limits>
#include <vector>

#include <catch2/catch.hpp>

#include "tests/support/random.h"

using namespace seamwright;
using seamwright::test::Random;

namespace {

using Two = Eigen::Matrix<double, 2, 1>;

struct Filled {
  int asked = 0;     // exact evaluations
  int unlike = 0;    // a number where the function has none, or the other way round
  double worst = 0;  // distance from the function
};

// A cell filled from a function of two components, held against it at every pixel.
template <class Function>
Filled filled(const Cell& cell, double bound, const Function& function) {
  Filled result;
  const auto exact = [&](const Vec2& px) -> Two {
    ++result.asked;
    return function(px);
  };
  std::vector<float> first(Cell::kPixels, 0.0F);
  std::vector<float> second(Cell::kPixels, 0.0F);
  const Two origin(3, -5);
  CellFill<2, decltype(exact)>(cell, bound, exact, origin, {first.data(), second.data()}).fill();
  for (int row = 0; row < cell.height; ++row) {
    for (int column = 0; column < cell.width; ++column) {
      const std::size_t i = Cell::index(column, row);
      const Two found(origin.x() + static_cast<double>(first[i]),
                      origin.y() + static_cast<double>(second[i]));
      const Two wanted = function(Vec2(cell.x + column + 0.5, cell.y + row + 0.5));
      if (found.hasNaN() || wanted.hasNaN()) {
        result.unlike += found.hasNaN() == wanted.hasNaN() ? 0 : 1;
      } else {
        result.worst = std::max(result.worst, (found - wanted).norm());
      }
    }
  }
  return result;
}

constexpr int kNodesAndProbes = 13;

}  // namespace

TEST_CASE("What is quadratic both ways is repeated from the nodes alone") {
  CAPTURE(test::seed());
  Random random(61);
  for (int i = 0; i < 50; ++i) {
    std::vector<double> of(9);
    for (double& term : of) term = random.uniform(-1, 1);
    const Cell cell{.x = 64, .y = 32, .width = 17 + i % 16, .height = 32 - i % 11};
    const auto function = [&](const Vec2& px) -> Two {
      const Vec2 p = (px - cell.middle()) / Cell::kSize;
      const double across = of[0] + p.x() * (of[1] + p.x() * of[2]);
      const double down = of[3] + p.y() * (of[4] + p.y() * of[5]);
      return Two(across * down, of[6] + of[7] * across + of[8] * down);
    };
    const Filled result = filled(cell, 1e-6, function);
    CHECK(result.asked == kNodesAndProbes);
    CHECK(result.worst < 2e-6);  // single floats
    CHECK(result.unlike == 0);
  }
}

TEST_CASE("What bends more is asked more often, and the bound holds") {
  CAPTURE(test::seed());
  Random random(62);
  constexpr double kBound = 0.002;
  int divided = 0;
  for (int i = 0; i < 200; ++i) {
    // A sixth of a turn in a cell at most. A lens' map bends less; what bends twice as much
    // as that may miss by a fifth more than the bound, where the probes do not look.
    const Vec2 slow(random.uniform(-0.015, 0.015), random.uniform(-0.015, 0.015));
    const Vec2 fast = slow * random.uniform(1, 1.5);
    const Cell cell{.x = 32 * (i % 7), .y = 32 * (i % 5)};
    const auto function = [&](const Vec2& px) -> Two {
      return Two(std::sin(slow.dot(px)) + 0.3 * std::cos(fast.dot(px)), std::exp(slow.dot(px) / 9));
    };
    const Filled result = filled(cell, kBound, function);
    CHECK(result.worst <= kBound);
    divided += result.asked > kNodesAndProbes ? 1 : 0;
  }
  CHECK(divided > 0);
  CHECK(divided < 200);
}

TEST_CASE("Where a function ends, its cells end to the pixel") {
  CAPTURE(test::seed());
  Random random(63);
  int crossed = 0;
  for (int i = 0; i < 100; ++i) {
    const Vec2 middle(random.uniform(-10, 42), random.uniform(-10, 42));
    const double radius = random.uniform(5, 60);
    const auto function = [&](const Vec2& px) -> Two {
      if ((px - middle).norm() > radius) {
        return Two::Constant(std::numeric_limits<double>::quiet_NaN());
      }
      return Two(0.7 * px.x(), std::sin(0.02 * px.y()));
    };
    const Filled result = filled(Cell{}, 0.002, function);
    CHECK(result.unlike == 0);
    CHECK(result.worst <= 0.002);
    crossed += result.asked > kNodesAndProbes ? 1 : 0;
  }
  CHECK(crossed > 50);
}
