#include "solver/behind_infinity.h"

#include <catch2/catch.hpp>

#include "solver/learn_rig.h"
#include "tests/support/rigs.h"

using namespace seamwright;
using Catch::Detail::Approx;

TEST_CASE("Ties in use that end clearly behind infinity are counted", "[solver]") {
  const Rig rig = test::nominal_rig();
  const double baseline_m = (rig.lenses[0].pupil - rig.lenses[1].pupil).norm();
  std::vector<Tie> ties(6);
  std::vector<TiePoint> points(6);
  for (std::size_t i = 0; i < ties.size(); ++i) {
    ties[i].sights = {{.lens = 0}, {.lens = 1}};
    points[i].usable = true;
    points[i].inverse_depth = 0.5;
  }
  const std::vector<char> all(6, 1);
  CHECK(share_behind_infinity(rig, ties, points, all) == 0);
  points[0].inverse_depth = -0.004 / baseline_m;
  points[1].inverse_depth = -0.004 / baseline_m;
  points[2].inverse_depth = -0.002 / baseline_m;  // noise
  CHECK(share_behind_infinity(rig, ties, points, all) == Approx(2.0 / 6));
  // One that is not used, and a track, say nothing.
  std::vector<char> used = all;
  used[0] = 0;
  ties[1].sights[1].shot = 3;
  CHECK(share_behind_infinity(rig, ties, points, used) == 0);
  CHECK(share_behind_infinity(rig, {}, {}, {}) == 0);
}
