#include "sampling/lens_map.h"

#include <catch2/catch.hpp>

#include "tests/support/rigs.h"

using namespace seamwright;
using seamwright::test::Random;

TEST_CASE("Margins change by no more than the angle moved") {
  CAPTURE(test::seed());
  Random random(12);
  test::RigOptions options{.lens_count = 4, .theta_max_rad = rad_from_deg(110)};
  int compared = 0;
  for (int body = 0; body < 6; ++body) {
    Rig rig = test::random_rig(random, options);
    // A frame that crops the circle: margins end at the border.
    if (body % 2 == 1) {
      for (MountedLens& mounted : rig.lenses) mounted.lens.terms[kFocal] *= 1.4;
    }
    for (const MountedLens& mounted : rig.lenses) {
      const LensMap map(mounted);
      for (int i = 0; i < 2000; ++i) {
        const Vec3 a = test::random_direction(random);
        const Vec3 b = quat_from_rotation_vector(test::random_offset(random, 0.02)) * a;
        const double before = map.margin_rad(a);
        const double after = map.margin_rad(b);
        if (before < 0 && after < 0) continue;
        const double excess = std::abs(before - after) - angle_between(a, b);
        if (excess > 1e-12) FAIL("margin " << before << " to " << after << ", excess " << excess);
        ++compared;
      }
    }
  }
  CHECK(compared > 10000);
}

TEST_CASE("Fringe terms move a colour along the radius from the principal point") {
  Rig rig = test::nominal_rig();
  MountedLens mounted = rig.lenses[0];
  mounted.lens.red = {.a0 = 0.001, .a1 = 0.002, .a2 = -0.0005};
  const LensMap map(mounted);
  const Vec2 centre = mounted.lens.centre_px();
  const double rim = mounted.lens.rim_radius_px();
  // By hand at half the rim's radius: 1 + 0.001 + 0.002/4 − 0.0005/16.
  const Vec2 green = centre + Vec2(0.3, 0.4) * rim;
  const Vec2 red = map.colour_px(green, 0);
  CHECK((red - (centre + 1.00146875 * (green - centre))).norm() < 1e-9);
  CHECK(map.colour_px(green, 1) == green);
  CHECK((map.colour_px(green, 2) - green).norm() < 1e-12);
}
