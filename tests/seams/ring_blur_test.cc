#include "compose/seams/ring_blur.h"

#include <algorithm>
#include <cmath>

#include <catch2/catch.hpp>

#include "projection/conventions.h"

using namespace seamwright;

namespace {

// Waves around the ring and along it; a Gaussian leaves exp(−σ²ω²/2) of each.
struct Wave {
  int turns;
  double per_row;
};
constexpr Wave kWaves[] = {{3, 0.02}, {9, 0.05}, {40, 0.0}};

FloatPlane waves(int width, int height, double sigma_px) {
  FloatPlane plane(width, height);
  for (int y = 0; y < height; ++y) {
    for (int x = 0; x < width; ++x) {
      double sum = 0;
      for (const Wave& wave : kWaves) {
        const double across = 2 * kPi * wave.turns / width;
        const double left =
            std::exp(-0.5 * sigma_px * sigma_px * (across * across + wave.per_row * wave.per_row));
        sum += left * std::cos(across * (x + 0.5) + wave.per_row * (y + 0.5));
      }
      plane.line(y)[x] = static_cast<float>(sum);
    }
  }
  return plane;
}

// Away from the first and last rows, and columns.
double worst_off(const FloatPlane& one, const FloatPlane& other, int rows, int columns = 0) {
  double worst = 0;
  for (int y = rows; y < one.height - rows; ++y) {
    for (int x = columns; x < one.width - columns; ++x) {
      worst = std::max(worst, std::abs(1.0 * one.line(y)[x] - other.line(y)[x]));
    }
  }
  return worst;
}

FloatPlane ratio(FloatPlane one, const FloatPlane& other) {
  for (std::size_t i = 0; i < one.values.size(); ++i) one.values[i] /= other.values[i];
  return one;
}

}  // namespace

TEST_CASE("smoothing leaves of every wave what a Gaussian leaves", "[ring_blur]") {
  const FloatPlane sharp = waves(500, 220, 0);
  for (const double sigma : {2.0, 5.0}) {
    CAPTURE(sigma);
    // Cut at 3 σ: 0.3 % of the weight lies beyond.
    CHECK(worst_off(blurred(sharp, sigma, true), waves(500, 220, sigma), 20) < 0.01);
  }
  for (const double sigma : {7.0, 16.0}) {
    CAPTURE(sigma);
    CHECK(worst_off(widely_blurred(sharp, sigma, true), waves(500, 220, sigma), 60) < 0.012);
  }
}

TEST_CASE("a wide smoothing in a coarser raster is the one in the ribbon's own", "[ring_blur]") {
  const FloatPlane sharp = waves(501, 217, 0);  // no multiples of anything
  for (const bool closed : {true, false}) {
    // Means of what there is, so that the ends count for no less.
    const FloatPlane ones(501, 217, 1);
    const FloatPlane direct = ratio(blurred(sharp, 11, closed), blurred(ones, 11, closed));
    const FloatPlane wide =
        ratio(widely_blurred(sharp, 11, closed), widely_blurred(ones, 11, closed));
    const double most = *std::ranges::max_element(direct.values);
    // The coarse raster is held from the middle of its outermost pixels on.
    CHECK(worst_off(wide, direct, 4, closed ? 0 : 4) < 0.012 * most);
  }
}

TEST_CASE("what is even stays even when it is reduced and enlarged", "[ring_blur]") {
  const FloatPlane even(64, 40, 2.5F);
  const FloatPlane small = reduced(even, 2, 23, 40, true);
  CHECK(small.line(20)[0] == Approx(2.5));
  CHECK(small.line(20)[22] == Approx(2.5));
  CHECK(small.line(0)[5] < 2.5 * 0.7);  // nothing lies beyond the first row
  const FloatPlane large = enlarged(FloatPlane(7, 5, 2.5F), 64, 40, true);
  CHECK(std::ranges::all_of(large.values, [](float value) { return value == 2.5F; }));
}
