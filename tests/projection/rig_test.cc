// Lenses in a rig: where points at a depth are seen, and that rays run back to them.

#include "projection/rig.h"

#include <algorithm>
#include <cmath>

#include <catch2/catch.hpp>

#include "tests/support/matchers.h"
#include "tests/support/random_geometry.h"
#include "tests/support/rigs.h"

namespace seamwright {

using test::near_pixel;
using test::nominal_rig;
using test::Random;
using test::random_direction;
using test::random_rig;
using test::RigOptions;
using test::same_direction;
using test::seed;

namespace {

double off_axis(const Vec3& d) { return std::atan2(std::hypot(d.x(), d.y()), d.z()); }

double distance_from_ray(const Vec3& point, const Vec3& origin, const Vec3& direction) {
  return (point - origin).cross(direction.normalized()).norm();
}

}  // namespace

TEST_CASE("back-to-back lenses look both ways from pupils a baseline apart", "[rig]") {
  const Rig rig = nominal_rig();
  CHECK_THAT(rig.lenses[0].rig_from_lens * Vec3::UnitZ(), same_direction({0, 0, 1}, 1e-15));
  CHECK_THAT(rig.lenses[1].rig_from_lens * Vec3::UnitZ(), same_direction({0, 0, -1}, 1e-15));
  CHECK((rig.baseline(0, 1) - Vec3(0, 0, 0.027)).norm() <= 1e-17);
  CHECK((rig.baseline(1, 0) + rig.baseline(0, 1)).norm() == 0);
  CHECK(rig.centre().norm() <= 1e-17);
  CHECK(rig.peak_px_per_rad() == rig.lenses[0].lens.peak_px_per_rad());
  // The back lens' right is the rig's left.
  CHECK_THAT(rig.lenses[1].rig_from_lens * Vec3::UnitX(), same_direction({-1, 0, 0}, 1e-15));
}

TEST_CASE("a point at a depth is seen along the line from the pupil to it", "[rig]") {
  CAPTURE(seed());
  Random random(61);
  int cases = 0;
  double worst_px = 0;
  for (int i = 0; i < 100; ++i) {
    RigOptions options;
    options.lens_count = random.integer(2, 6);
    options.curve = static_cast<LensCurve>(i % 3);
    const Rig rig = random_rig(random, options);
    for (int j = 0; j < 50; ++j) {
      const Vec3 direction = random_direction(random);
      const double depth_m = std::pow(10, random.uniform(-0.5, 2));
      for (const MountedLens& mounted : rig.lenses) {
        const Vec3 in_lens =
            mounted.rig_from_lens.conjugate() * (depth_m * direction - mounted.pupil);
        const auto expected = mounted.lens.project(in_lens);
        const auto seen = mounted.project_point(direction, 1 / depth_m);
        REQUIRE(seen.has_value() == expected.has_value());
        if (!seen) continue;
        worst_px = std::max(worst_px, (*seen - *expected).norm());
        ++cases;
      }
    }
  }
  CHECK(cases > 5000);
  CHECK(worst_px <= 1e-9);
}

TEST_CASE("inverse depth zero is infinity, wherever the pupil is", "[rig]") {
  CAPTURE(seed());
  Random random(62);
  RigOptions options;
  options.pupil_travel_m = 0.003;
  int cases = 0;
  for (int i = 0; i < 200; ++i) {
    const Rig rig = random_rig(random, options);
    const Vec3 direction = random_direction(random);
    for (const MountedLens& mounted : rig.lenses) {
      const auto at_infinity = mounted.project_direction(direction);
      REQUIRE(mounted.project_point(direction, 0) == at_infinity);
      if (!at_infinity) continue;
      REQUIRE_THAT(mounted.direction_in_rig(*at_infinity).value(),
                   same_direction(direction, 1e-12));
      // Far points close in on it: at most 3 cm from the origin to the pupil, 900 px/rad.
      const auto far = mounted.project_point(direction, 1e-6);
      if (far) REQUIRE_THAT(*far, near_pixel(*at_infinity, 1e-6 * 0.03 * 900));
      ++cases;
    }
  }
  CHECK(cases > 200);
}

TEST_CASE("the ray of a pixel runs through the point that was seen there", "[rig]") {
  CAPTURE(seed());
  Random random(63);
  int cases = 0;
  double worst_m = 0;
  for (int i = 0; i < 300; ++i) {
    RigOptions options;
    options.lens_count = i % 2 == 0 ? 2 : 6;
    options.curve = static_cast<LensCurve>(i % 3);
    options.pupil_travel_m = 0.004;
    const Rig rig = random_rig(random, options);
    for (int j = 0; j < 20; ++j) {
      const Vec3 direction = random_direction(random);
      const double depth_m = random.uniform(0.25, 5);
      const Vec3 point = depth_m * direction;
      for (const MountedLens& mounted : rig.lenses) {
        const auto px = mounted.project_point(direction, 1 / depth_m);
        if (!px) continue;
        const auto ray = mounted.direction_in_rig(*px);
        if (!ray) continue;  // on the rim by rounding
        worst_m =
            std::max(worst_m, distance_from_ray(point, mounted.ray_origin_in_rig(*ray), *ray));
        ++cases;
      }
    }
  }
  CHECK(cases > 5000);
  CHECK(worst_m <= 1e-12);
}

TEST_CASE("the pupil travels forward with the square of the angle", "[rig]") {
  MountedLens mounted = nominal_rig().lenses[1];
  mounted.pupil_travel = 0.003;
  for (const double theta : {0.0, 0.5, 1.0, 1.7}) {
    const Vec3 in_lens(std::sin(theta), 0, std::cos(theta));
    const Vec3 moved = mounted.ray_origin_in_rig(mounted.rig_from_lens * in_lens) - mounted.pupil;
    // Lens 1 looks along −z of the rig.
    CHECK((moved - Vec3(0, 0, -0.003 * theta * theta)).norm() <= 1e-17);
  }
  // It matters: at 95° and half a metre, 3 mm/rad² move the picture by several pixels.
  const Vec3 sideways(std::sin(rad_from_deg(95)), 0, -std::cos(rad_from_deg(95)));
  MountedLens still = mounted;
  still.pupil_travel = 0;
  const double moved_px =
      (mounted.project_point(sideways, 2).value() - still.project_point(sideways, 2).value())
          .norm();
  const double lens_px_per_rad = mounted.lens.terms[kFocal];
  CHECK(moved_px ==
        Approx(lens_px_per_rad * 0.003 * std::pow(rad_from_deg(95), 2) * 2).epsilon(0.1));
}

TEST_CASE("pupil travel agrees with a bisection for the angle under which a point is seen",
          "[rig]") {
  CAPTURE(seed());
  Random random(64);
  int cases = 0;
  for (int i = 0; i < 500; ++i) {
    RigOptions options;
    options.pupil_travel_m = 0.004;
    const MountedLens mounted = random_rig(random, options).lenses[0];
    const Vec3 direction = random_direction(random);
    const double depth_m = random.uniform(0.2, 3);
    const Vec3 from_pupil =
        mounted.rig_from_lens.conjugate() * (depth_m * direction - mounted.pupil);
    // The angle θ at which the moved pupil sees the point under θ itself.
    double low = 0;
    double high = kPi;
    for (int turn = 0; turn < 100; ++turn) {
      const double theta = 0.5 * (low + high);
      const Vec3 seen = from_pupil - Vec3(0, 0, mounted.pupil_travel * theta * theta);
      (off_axis(seen) > theta ? low : high) = theta;
    }
    const Vec3 seen = from_pupil - Vec3(0, 0, mounted.pupil_travel * low * low);
    const auto expected = mounted.lens.project(seen);
    const auto actual = mounted.project_point(direction, 1 / depth_m);
    if (!expected || !actual) continue;
    REQUIRE_THAT(*actual, near_pixel(*expected, 1e-9));
    ++cases;
  }
  CHECK(cases > 200);
}

TEST_CASE("a rig scaled to half-size frames sees the same directions", "[rig]") {
  CAPTURE(seed());
  Random random(65);
  int cases = 0;
  double worst_rad = 0;
  for (const int count : {2, 6}) {
    RigOptions options;
    options.lens_count = count;
    const Rig rig = random_rig(random, options);
    const Rig half = rig.scaled_to(1000, 1000);
    CHECK_FALSE(half.validate());
    for (std::size_t lens = 0; lens < rig.lenses.size(); ++lens) {
      for (double v = 0; v <= 2000; v += 20) {
        for (double u = 0; u <= 2000; u += 20) {
          const auto full_size = rig.lenses[lens].direction_in_rig({u, v});
          const auto half_size = half.lenses[lens].direction_in_rig({u / 2, v / 2});
          REQUIRE(full_size.has_value() == half_size.has_value());
          if (!full_size) continue;
          worst_rad = std::max(worst_rad, angle_between(*full_size, *half_size));
          ++cases;
        }
      }
    }
  }
  CHECK(cases > 40000);
  CHECK(worst_rad <= 1e-9);
}

}  // namespace seamwright
