// A click's partner in the other lens of a pair.

#include "apps/workbench/match_search.h"

#include <catch2/catch.hpp>

#include "projection/ribbon.h"
#include "tests/features/synthetic_shot.h"

namespace seamwright::workbench {
namespace {

// Opposite lenses of a square are √2 first baselines apart: at eleven baselines something shows
// 7.4 degrees of disparity, more than it would over the first baseline at ten.
TEST_CASE("a near match is found over a pair's own baseline, in a rig without a scale") {
  Rig rig =
      test::nominal_rig({.lens_count = 4, .width_px = 500, .height_px = 500, .baseline_m = 1});
  rig.metric = false;
  const test::SyntheticShot shot = test::photograph_all(
      rig, {.half_size = {11, 11, 11}, .stand = {0, 0, 0}, .grain_m = 0.5, .panels = false});
  const auto views = views_of(shot.frames, rig);
  REQUIRE(views);
  const auto overlap = overlap_of(rig, 0, 2);
  REQUIRE(overlap);
  const RibbonGrid& grid = overlap->grid;
  const MatchSearch search({(*views)[0], (*views)[2], 0, 2}, grid, rig);
  int asked = 0;
  int found = 0;
  for (double up = -0.2; up <= 0.21; up += 0.1) {
    // Where a wall is nearest, in the middle of what both see.
    const Vec3 direction = (Vec3(11, 11 * up, 0) - rig.lenses[0].pupil).normalized();
    const auto px_a = rig.lenses[0].project_direction(direction);
    REQUIRE(px_a);
    const auto px_b = test::partner_of(shot.scene, rig.lenses[0], rig.lenses[2], *px_a, *px_a);
    REQUIRE(px_b);
    const auto at_a = strip_position(grid, rig.lenses[0], *px_a);
    const auto at_b = strip_position(grid, rig.lenses[2], *px_b);
    REQUIRE(at_a);
    REQUIRE(at_b);
    CHECK((at_a->y() - at_b->y()) / grid.px_per_rad > 0.12);
    ++asked;
    const auto match = search.find(*at_a, true);
    if (match && (match->match.b.at - *at_b).norm() < 1) ++found;
  }
  CHECK(asked == 5);
  CHECK(found >= 4);
}

}  // namespace
}  // namespace seamwright::workbench
