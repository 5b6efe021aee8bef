#include "compose/render/seam_hints.h"

#include <cmath>
#include <cstdint>

#include <catch2/catch.hpp>

#include "compose/seams/seam_views.h"
#include "tests/support/rigs.h"

using namespace seamwright;
using Catch::Matchers::WithinAbs;

namespace {

PanoramaPlace place(double longitude_deg, double latitude_deg) {
  return {rad_from_deg(longitude_deg), rad_from_deg(latitude_deg)};
}

Rig body() {
  test::RigOptions options;
  options.lens_count = 2;
  return test::random_rig(44, options);
}

RibbonGrid ribbon(const Rig& rig) {
  const auto overlap = overlap_of(rig, 0, 1, 120);
  REQUIRE(overlap);
  return overlap->grid;
}

SeamWish at(const Image& wishes, const RibbonGrid& grid, const PanoramaPlace& where) {
  const Vec2 px = grid.position(where.direction());
  return static_cast<SeamWish>(
      wishes.row<std::uint8_t>(static_cast<int>(px.y()))[static_cast<std::size_t>(px.x())]);
}

}  // namespace

TEST_CASE("Strokes become wishes of the pair whose ribbon they cross", "[compose]") {
  const Rig rig = body();
  const RibbonGrid grid = ribbon(rig);
  const std::vector<SeamStroke> strokes = {
      {.wish = StrokeWish::away,
       .reach_rad = rad_from_deg(2),
       .path = {place(88, -5), place(92, 5)}},
      {.wish = StrokeWish::here, .reach_rad = rad_from_deg(1), .path = {place(-90, 30)}},
      {.wish = StrokeWish::lens, .lens = 1, .reach_rad = rad_from_deg(1), .path = {place(90, 0)}},
      {.wish = StrokeWish::lens, .lens = 4, .reach_rad = rad_from_deg(9), .path = {place(-90, 0)}}};
  const Image wishes = wish_raster(strokes, grid, {0, 1});
  REQUIRE_FALSE(wishes.empty());
  CHECK(at(wishes, grid, place(88, -5)) == SeamWish::forbidden);
  CHECK(at(wishes, grid, place(91.5, 4)) == SeamWish::forbidden);
  CHECK(at(wishes, grid, place(90, 0)) == SeamWish::from_b);  // drawn later
  CHECK(at(wishes, grid, place(-90, 30)) == SeamWish::preferred);
  CHECK(at(wishes, grid, place(-90, 33)) == SeamWish::none);
  CHECK(at(wishes, grid, place(-90, 0)) == SeamWish::none);  // a lens that is not of the pair
}

TEST_CASE("A dab beside the ribbon asks nothing of it", "[compose]") {
  const Rig rig = body();
  const std::vector<SeamStroke> strokes = {{.reach_rad = rad_from_deg(3), .path = {place(0, 0)}}};
  CHECK(wish_raster(strokes, ribbon(rig), {0, 1}).empty());
}

TEST_CASE("A tie seen by both lenses tells the depth there", "[compose]") {
  const Rig rig = body();
  const RibbonGrid grid = ribbon(rig);
  const Vec3 middle = 0.5 * (rig.lenses[0].pupil + rig.lenses[1].pupil);
  for (const double distance_m : {0.5, 1.5, 40.0}) {
    const Vec3 direction = place(91, -20).direction();
    const Vec3 point = middle + distance_m * direction;
    Tie tie;
    for (int lens = 0; lens < 2; ++lens) {
      const auto px = rig.lenses[static_cast<std::size_t>(lens)].project_point(point.normalized(),
                                                                               1 / point.norm());
      REQUIRE(px);
      tie.sights.push_back({.lens = lens, .px = *px});
    }
    const auto anchors = depth_anchors(std::vector<Tie>{tie}, rig, {0, 1}, grid);
    REQUIRE(anchors.size() == 1);
    // Pupils that stand off the baseline's axis by a fraction of a millimetre are taken as on it.
    CHECK_THAT(anchors[0].inverse_m, WithinAbs(1 / distance_m, 0.02 / distance_m + 1e-3));
    CHECK(angle_between(anchors[0].direction, direction) < 1e-3);
    Tie far = tie;
    far.range = TieRange::far;
    CHECK(depth_anchors(std::vector<Tie>{far}, rig, {0, 1}, grid)[0].inverse_m == 0);
  }
}

TEST_CASE("A tie that one lens of the pair does not see is no anchor", "[compose]") {
  const Rig rig = body();
  Tie tie;
  tie.sights.push_back({.lens = 0, .px = Vec2(900, 900)});
  CHECK(depth_anchors(std::vector<Tie>{tie}, rig, {0, 1}, ribbon(rig)).empty());
}
