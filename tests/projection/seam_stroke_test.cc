#include "projection/seam_stroke.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include <catch2/catch.hpp>

#include "projection/equirect.h"
#include "tests/support/random_geometry.h"

using namespace seamwright;
using Catch::Matchers::WithinAbs;

namespace {

PanoramaPlace place(double longitude_deg, double latitude_deg) {
  return {rad_from_deg(longitude_deg), rad_from_deg(latitude_deg)};
}

// The least distance to many points of the arc: what distance_rad must find without them.
double sampled_distance(const SeamStroke& stroke, const Vec3& direction) {
  double least = kPi;
  for (std::size_t i = 0; i + 1 < stroke.path.size(); ++i) {
    const Vec3 from = stroke.path[i].direction();
    const Vec3 to = stroke.path[i + 1].direction();
    for (int k = 0; k <= 4000; ++k) {
      const double t = k / 4000.0;
      least = std::min(least, angle_between(((1 - t) * from + t * to).normalized(), direction));
    }
  }
  return least;
}

}  // namespace

TEST_CASE("A place of the panorama is where the panorama's raster has it", "[projection]") {
  const Equirect raster{3600, 1800};
  for (const auto& [longitude, latitude] :
       {std::pair{0.0, 0.0}, {90.0, 0.0}, {-135.0, 40.0}, {179.0, -80.0}}) {
    const Vec2 px = raster.position(place(longitude, latitude).direction());
    CHECK_THAT(px.x(), WithinAbs(1800 + 10 * longitude, 1e-9));
    CHECK_THAT(px.y(), WithinAbs(900 - 10 * latitude, 1e-9));
    const PanoramaPlace back = place_of(3 * place(longitude, latitude).direction());
    CHECK_THAT(back.longitude_rad, WithinAbs(rad_from_deg(longitude), 1e-12));
    CHECK_THAT(back.latitude_rad, WithinAbs(rad_from_deg(latitude), 1e-12));
  }
}

TEST_CASE("A stroke's distance is that to its nearest point", "[projection]") {
  const SeamStroke stroke{
      .path = {place(170, 10), place(-160, 30), place(-150, -20), place(-150, -20)}};
  CAPTURE(test::seed());
  test::Random random(40);
  for (int i = 0; i < 200; ++i) {
    const Vec3 direction = test::random_direction(random);
    CHECK_THAT(stroke.distance_rad(direction),
               WithinAbs(sampled_distance(stroke, direction), 2e-4));
  }
}

TEST_CASE("One place is a dab", "[projection]") {
  const SeamStroke dab{.reach_rad = rad_from_deg(2), .path = {place(30, 89)}};
  CHECK(dab.covers(place(-150, 89.5).direction()));  // over the zenith
  CHECK_FALSE(dab.covers(place(-150, 88.5).direction()));
}
