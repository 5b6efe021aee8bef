#include "compose/render/blend_weights.h"

#include <cmath>
#include <vector>

#include <catch2/catch.hpp>

#include "projection/conventions.h"
#include "tests/support/random.h"

using namespace seamwright;

namespace {

std::vector<double> shares_of(const BlendWeights& weights, const std::vector<double>& margins) {
  std::vector<double> shares(margins.size());
  weights.at(margins, shares);
  return shares;
}

}  // namespace

TEST_CASE("Shares of two lenses across the seam") {
  const double half_width = rad_from_deg(1.5);
  const BlendWeights weights(half_width);
  const double middle = rad_from_deg(10);  // both lenses see 10 degrees past the seam
  const auto share_of_a = [&](double past_deg) {
    const double past = rad_from_deg(past_deg);
    return shares_of(weights, {middle + past, middle - past})[0];
  };
  CHECK(share_of_a(0) == Approx(0.5));
  CHECK(share_of_a(1.5) == Approx(1.0));
  CHECK(share_of_a(-1.5) == Approx(0.0).margin(1e-12));
  CHECK(share_of_a(1.4) < 1.0);
  for (double past = -2; past < 2; past += 0.01) {
    CHECK(share_of_a(past) + share_of_a(-past) == Approx(1.0));
    CHECK(share_of_a(past) <= share_of_a(past + 0.01));
    CHECK(share_of_a(past + 0.01) - share_of_a(past) < 0.01);
  }
}

TEST_CASE("A lens has no share at its rim unless it is the only one") {
  const BlendWeights weights(rad_from_deg(30));  // wider than the overlap
  CHECK(shares_of(weights, {0.05, 1e-9})[1] == Approx(0.0).margin(1e-12));
  CHECK(shares_of(weights, {-0.1, 1e-9})[1] == 1.0);
  CHECK(shares_of(weights, {-0.1, -0.2}) == std::vector<double>{0, 0});
}

TEST_CASE("Shares of many lenses sum to one and never jump") {
  CAPTURE(test::seed());
  test::Random random(21);
  const BlendWeights weights(rad_from_deg(1.5));
  for (int i = 0; i < 3000; ++i) {
    const auto count = static_cast<std::size_t>(random.integer(2, 8));
    std::vector<double> margins(count);
    for (double& margin : margins) margin = random.uniform(-0.2, 0.5);
    margins[0] = random.uniform(0.06, 0.5);  // somebody sees it
    const auto shares = shares_of(weights, margins);
    double sum = 0;
    for (const double share : shares) {
      CHECK(share >= 0);
      sum += share;
    }
    CHECK(sum == Approx(1.0));
    std::vector<double> moved = margins;
    for (double& margin : moved) margin += random.uniform(-1e-5, 1e-5);
    const auto moved_shares = shares_of(weights, moved);
    for (std::size_t j = 0; j < count; ++j) {
      CHECK(std::abs(shares[j] - moved_shares[j]) < 0.02);
    }
  }
}

TEST_CASE("Seams that send three lenses round in a circle leave no hole") {
  // As found in a photographed room: of three lenses each loses its seam against the next.
  const BlendWeights weights(rad_from_deg(1.5));
  const auto shares_with = [&](double c_before_a) {
    std::vector<double> shares(3);
    const std::vector<PairStep> known = {{.a = 0, .b = 1, .share_a = 1, .weight = 1},
                                         {.a = 1, .b = 2, .share_a = 1, .weight = 1},
                                         {.a = 0, .b = 2, .share_a = 1 - c_before_a, .weight = 1}};
    weights.at(std::vector<double>{0.5, 0.7, 0.3}, shares, known);
    return shares;
  };
  const auto circle = shares_with(1);
  CHECK(circle[0] + circle[1] + circle[2] == Approx(1));
  CHECK(circle[1] > 0.99);  // it sees furthest beyond its rim
  // Without the circle the seams alone decide.
  CHECK(shares_with(0) == std::vector<double>{1, 0, 0});
  CHECK(shares_with(0.5) == std::vector<double>{1, 0, 0});
  // Towards it the shares change gradually.
  std::vector<double> before = shares_with(0.9);
  for (double step = 0.9; step <= 1.0; step += 0.0005) {
    const auto shares = shares_with(step);
    for (std::size_t i = 0; i < 3; ++i) CHECK(std::abs(shares[i] - before[i]) < 0.05);
    before = shares;
  }
}
