// Project and unproject undo each other over the whole frame, for every curve, with all terms.

#include <algorithm>
#include <cmath>

#include <catch2/catch.hpp>

#include "projection/lens.h"
#include "tests/support/matchers.h"
#include "tests/support/random_geometry.h"
#include "tests/support/rigs.h"

namespace seamwright {

using test::nominal_rig;
using test::Random;
using test::random_direction_within;
using test::random_rig;
using test::RigOptions;
using test::seed;

namespace {

struct Worst {
  double px = 0;
  double rad = 0;
  int cases = 0;
};

// Every pixel corner of a grid over the frame that the lens sees.
void round_trip_frame(const Lens& lens, double step_px, Worst& worst) {
  for (double v = 0; v <= lens.height_px; v += step_px) {
    for (double u = 0; u <= lens.width_px; u += step_px) {
      const auto direction = lens.unproject({u, v});
      if (!direction) continue;
      REQUIRE(std::abs(direction->norm() - 1) <= 1e-14);
      const auto px = lens.project(*direction);
      REQUIRE(px);
      worst.px = std::max(worst.px, (*px - Vec2(u, v)).norm());
      ++worst.cases;
    }
  }
}

// Directions of the whole field of view, more of them near the axis and the rim.
void round_trip_directions(const Lens& lens, Random& random, int count, Worst& worst) {
  for (int i = 0; i < count; ++i) {
    const double azimuth = random.uniform(-kPi, kPi);
    double theta = random.uniform(0, lens.theta_max_rad);
    if (i % 4 == 1) theta = lens.theta_max_rad * (1 - std::pow(10, random.uniform(-14, -1)));
    if (i % 4 == 2) theta = std::pow(10, random.uniform(-15, -1));
    if (i % 4 == 3) theta = lens.theta_max_rad;
    const Vec3 direction(std::sin(theta) * std::cos(azimuth), std::sin(theta) * std::sin(azimuth),
                         std::cos(theta));
    const auto px = lens.project(direction);
    REQUIRE(px);
    const auto back = lens.unproject(*px);
    CAPTURE(theta, azimuth, curve_name(lens.curve));
    REQUIRE(back);
    worst.rad = std::max(worst.rad, angle_between(*back, direction));
    ++worst.cases;
  }
}

RigOptions options_of(int curve, double theta_max_deg) {
  RigOptions options;
  options.curve = static_cast<LensCurve>(curve);
  options.theta_max_rad = rad_from_deg(theta_max_deg);
  return options;
}

}  // namespace

TEST_CASE("every pixel of a textbook frame comes back", "[lens][round_trip]") {
  for (int curve = 0; curve < kLensCurveCount; ++curve) {
    const Lens lens = nominal_rig(options_of(curve, 110)).lenses[0].lens;
    CAPTURE(curve_name(lens.curve));
    Worst worst;
    round_trip_frame(lens, 5, worst);
    CHECK(worst.cases > 100000);
    CHECK(worst.px <= 1e-9);
  }
}

TEST_CASE("every pixel of random lenses' frames comes back", "[lens][round_trip]") {
  CAPTURE(seed());
  Random random(21);
  Worst worst;
  int lenses = 0;
  for (int curve = 0; curve < kLensCurveCount; ++curve) {
    for (int i = 0; i < 10; ++i) {
      RigOptions options = options_of(curve, random.uniform(85, 110));
      options.width_px = random.integer(1200, 2400);
      options.height_px = random.integer(1200, 2400);
      options.decentring_spread = 5e-3;
      options.affine_spread = 1e-2;
      options.radial_spread = 0.03;
      const Lens lens = random_rig(random, options).lenses[0].lens;
      CAPTURE(curve_name(lens.curve), i);
      round_trip_frame(lens, 31, worst);
      ++lenses;
    }
  }
  CHECK(lenses == 40);
  CHECK(worst.cases > 40 * 800);
  CHECK(worst.px <= 1e-9);
}

TEST_CASE("directions to 110 degrees come back, from the axis to the rim", "[lens][round_trip]") {
  CAPTURE(seed());
  Random random(22);
  Worst worst;
  int beyond_90 = 0;
  for (int curve = 0; curve < kLensCurveCount; ++curve) {
    for (int i = 0; i < 25; ++i) {
      RigOptions options = options_of(curve, 110);
      options.decentring_spread = 5e-3;
      options.affine_spread = 1e-2;
      options.radial_spread = 0.01;
      const Lens lens = random_rig(random, options).lenses[0].lens;
      CAPTURE(curve_name(lens.curve), i);
      if (lens.theta_max_rad > rad_from_deg(109)) ++beyond_90;
      round_trip_directions(lens, random, 400, worst);
    }
  }
  CHECK(beyond_90 == 75);  // all curves but the orthographic one
  CHECK(worst.cases == 4 * 25 * 400);
  CHECK(worst.rad <= 1e-12);
}

TEST_CASE("principal point and axis are each other's picture", "[lens][round_trip]") {
  CAPTURE(seed());
  Random random(23);
  int cases = 0;
  for (int curve = 0; curve < kLensCurveCount; ++curve) {
    for (int i = 0; i < 25; ++i) {
      const Lens lens = random_rig(random, options_of(curve, 100)).lenses[0].lens;
      CHECK(lens.project(Vec3::UnitZ()).value() == lens.centre_px());
      CHECK(lens.unproject(lens.centre_px()).value() == Vec3::UnitZ());
      // A hair away from it nothing jumps: the slope on the axis is f in v.
      for (const double off : {1e-14, 1e-12, 1e-11, 1e-9, 1e-6}) {
        const Vec2 px = lens.project({0, off, 1}).value();
        CHECK((px.y() - lens.terms[kCentreV]) / (lens.terms[kFocal] * off) ==
              Approx(1).margin(1e-3 + 1e-12 / off));
      }
      ++cases;
    }
  }
  CHECK(cases == 100);
}

TEST_CASE("the rim radius is where the field of view ends", "[lens][round_trip]") {
  CAPTURE(seed());
  Random random(24);
  for (int curve = 0; curve < kLensCurveCount; ++curve) {
    RigOptions options = options_of(curve, 100);
    options.decentring_spread = 0;
    options.affine_spread = 0;
    const Lens lens = random_rig(random, options).lenses[0].lens;
    for (double azimuth = 0; azimuth < 2 * kPi; azimuth += 0.3) {
      const Vec2 outwards(std::cos(azimuth), std::sin(azimuth));
      CHECK(lens.unproject(lens.centre_px() + (lens.rim_radius_px() - 1e-6) * outwards));
      CHECK_FALSE(lens.unproject(lens.centre_px() + (lens.rim_radius_px() + 1e-6) * outwards));
    }
  }
}

TEST_CASE("a frame scaled to another size sees the same directions", "[lens][round_trip]") {
  CAPTURE(seed());
  Random random(25);
  int cases = 0;
  double worst_rad = 0;
  for (int curve = 0; curve < kLensCurveCount; ++curve) {
    const Lens lens = random_rig(random, options_of(curve, 100)).lenses[0].lens;
    for (const int size : {1000, 500, 4000, 667}) {
      const Lens scaled = lens.scaled_to(size, size);
      CHECK(scaled.width_px == size);
      CHECK(scaled.theta_max_rad == lens.theta_max_rad);
      CHECK_FALSE(scaled.validate());
      for (int i = 0; i < 200; ++i) {
        const Vec3 direction = random_direction_within(random, lens.theta_max_rad);
        const Vec2 px = lens.project(direction).value();
        const auto back = scaled.unproject(px * (size / 2000.0));
        if (!back) continue;  // on the rim by rounding
        worst_rad = std::max(worst_rad, angle_between(*back, direction));
        ++cases;
      }
    }
    CHECK(lens.scaled_to(2000, 2000) == lens);
  }
  CHECK(cases >= 4 * 4 * 200 - 3);
  CHECK(worst_rad <= 1e-9);
}

}  // namespace seamwright
