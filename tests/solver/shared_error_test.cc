#include "solver/shared_error.h"

#include <cmath>
#include <vector>

#include "tests/support/matchers.h"
#include "tests/support/random.h"

namespace seamwright {
namespace {

using test::Random;
using test::seed;

// Ties all around a ring, in clusters that err together by `shared` beside their own unit noise.
std::vector<RingResidual> ring(Random& random, int clusters, int per_cluster, double shared) {
  std::vector<RingResidual> all;
  for (int cluster = 0; cluster < clusters; ++cluster) {
    const double offset = shared > 0 ? random.normal(shared) : 0;
    for (int i = 0; i < per_cluster; ++i) {
      const double share = (cluster + random.uniform(0, 1)) / clusters;
      all.push_back({0, 1, 2 * kPi * share - kPi, offset + random.normal(1)});
    }
  }
  return all;
}

double mean_effect(Random& random, int clusters, int per_cluster, double shared) {
  constexpr int kDraws = 200;
  double sum = 0;
  for (int i = 0; i < kDraws; ++i) {
    sum += design_effect(ring(random, clusters, per_cluster, shared), 0) / kDraws;
  }
  return sum;
}

TEST_CASE("what sectors share makes their ties worth fewer, by as much as it weighs") {
  CAPTURE(seed());
  Random random(50);
  // 25 ties whose common part has half the size of their own: 1 + 25 / 4 of 1 + 1 / 4.
  CHECK(mean_effect(random, 16, 25, 0.5) == Approx((1 + 25 * 0.25) / 1.25).epsilon(0.1));
  // Without a common part hardly anything is lost; the rest is that it is never less than 1.
  CHECK(mean_effect(random, 16, 25, 0) == Approx(1.15).margin(0.05));
}

TEST_CASE("a tie a sector, or too few sectors, cannot tell what is shared") {
  CAPTURE(seed());
  Random random(51);
  CHECK(design_effect(ring(random, 16, 1, 3), 3) == Approx(1).margin(1e-9));
  const std::vector<RingResidual> crowded(10, {0, 1, 0.1, 2.0});
  CHECK(design_effect(crowded, 3) == 1);
  CHECK(design_effect({}, 3) == 1);
}

// A fit of three turns takes as much from sectors that share nothing as from those that do.
TEST_CASE("what the fit took is made up for") {
  CAPTURE(seed());
  Random random(52);
  double whole = 0;
  double left = 0;
  constexpr int kDraws = 400;
  for (int i = 0; i < kDraws; ++i) {
    std::vector<RingResidual> all = ring(random, 16, 25, 0.5);
    whole += design_effect(all, 0) / kDraws;
    double mean = 0;
    double sine = 0;
    double cosine = 0;
    const auto count = static_cast<double>(all.size());
    for (const RingResidual& one : all) {
      mean += one.sigmas / count;
      sine += 2 * one.sigmas * std::sin(one.psi_rad) / count;
      cosine += 2 * one.sigmas * std::cos(one.psi_rad) / count;
    }
    for (RingResidual& one : all) {
      one.sigmas -= mean + sine * std::sin(one.psi_rad) + cosine * std::cos(one.psi_rad);
    }
    left += design_effect(all, 3) / kDraws;
  }
  CHECK(left == Approx(whole).epsilon(0.1));
}

}  // namespace
}  // namespace seamwright
