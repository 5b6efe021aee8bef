// Our panorama's raster against OpenEXR's own environment maps (ImfEnvmap.h, latitude-longitude).
// There y points up and x to the left of who looks along z; pixels are whole numbers at their
// centres, and the centres of the first and of the last column both lie on longitude ±π.

#include <ImfEnvmap.h>
#include <catch2/catch.hpp>

#include "projection/equirect.h"
#include "tests/support/random_geometry.h"

namespace seamwright {

TEST_CASE("directions lie where OpenEXR's latitude-longitude map has them", "[equirect]") {
  CAPTURE(test::seed());
  test::Random random(41);
  constexpr int kWidth = 1024, kHeight = 512;
  const Equirect ours{kWidth, kHeight};
  const Imath::Box2i window({0, 0}, {kWidth - 1, kHeight - 1});
  for (int i = 0; i < 2000; ++i) {
    const Vec3 direction = test::random_direction_within(random, kPi);
    const Vec2 px = ours.position(direction);
    const Imath::V3f theirs(static_cast<float>(-direction.x()), static_cast<float>(-direction.y()),
                            static_cast<float>(direction.z()));
    const Imath::V2f at = OPENEXR_IMF_NAMESPACE::LatLongMap::pixelPosition(window, theirs);
    const double share_u = static_cast<double>(at.x) / (kWidth - 1);
    const double share_v = static_cast<double>(at.y) / (kHeight - 1);
    CAPTURE(direction.transpose());
    // Theirs are floats.
    REQUIRE(px.x() / kWidth == Approx(share_u).margin(1e-5));
    REQUIRE(px.y() / kHeight == Approx(share_v).margin(1e-5));
  }
}

}  // namespace seamwright
