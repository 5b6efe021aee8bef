#include "compose/seams/baseline_view.h"

#include <cmath>

#include <catch2/catch.hpp>

#include "tests/support/random.h"
#include "tests/support/rigs.h"

using namespace seamwright;
using namespace seamwright::test;

// One azimuth is a plane: a point at (radius, height), viewpoints at (0, offset).
TEST_CASE("every viewpoint on the baseline agrees on one point", "[baseline_view]") {
  CAPTURE(seed());
  Random random(21);
  constexpr int kCases = 2000;
  int checked = 0;
  for (int i = 0; i < kCases; ++i) {
    const double half = random.uniform(0.001, 0.1);
    const double radius = random.uniform(0.05, 20);
    const double height = random.uniform(-0.9, 0.9) * radius;
    const double inverse = 1 / std::hypot(radius, height);
    const auto eta_from = [&](double offset) { return std::atan2(radius, height - offset); };
    if (half * inverse >= 0.9) continue;
    const double from = random.uniform(-half, half);
    const double to = random.uniform(-half, half);
    CHECK(eta_seen_from(to, from, eta_from(from), inverse) == Approx(eta_from(to)).margin(1e-12));
    CHECK(inverse_distance(half, eta_from(half), eta_from(-half)) == Approx(inverse).epsilon(1e-8));
    ++checked;
  }
  CHECK(checked > kCases / 2);
}

TEST_CASE("what is infinitely far looks the same from everywhere", "[baseline_view]") {
  CHECK(eta_seen_from(-0.02, 0.02, 1.3, 0) == Approx(1.3).margin(1e-15));
  CHECK(inverse_distance(0.02, 1.3, 1.3) == 0);
  CHECK(inverse_distance(0.02, 1.3, 1.31) == 0);  // rays that part
}

TEST_CASE("half the baseline is half the way between the pupils", "[baseline_view]") {
  CAPTURE(seed());
  Rig rig = random_rig(22);
  const auto overlap = overlap_of(rig, 0, 1, 100);
  REQUIRE(overlap);
  const double expected = 0.5 * rig.baseline(0, 1).norm();
  CHECK(half_baseline(rig.lenses[0], rig.lenses[1], overlap->grid) == Approx(expected));
  for (MountedLens& lens : rig.lenses) lens.pupil_travel = 0.001;
  // Each pupil moves forward by e1 θ², about (π/2)² at the ring: they part by that much each.
  CHECK(half_baseline(rig.lenses[0], rig.lenses[1], overlap->grid) ==
        Approx(expected + 0.001 * kPi * kPi / 4).epsilon(0.02));
}
