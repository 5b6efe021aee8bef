#include "projection/conventions.h"

#include <cmath>
#include <utility>
#include <vector>

#include <catch2/catch.hpp>

#include "projection/equirect.h"
#include "tests/support/matchers.h"
#include "tests/support/random_geometry.h"

namespace seamwright {

using test::angle_between_rotations;
using test::Random;
using test::random_direction;
using test::same_direction;
using test::same_rotation;
using test::seed;

TEST_CASE("panorama corners, poles, seam and centre by hand", "[conventions][equirect]") {
  const Equirect raster{8, 4};
  const std::vector<std::pair<Vec2, Vec3>> by_hand = {
      {{4, 2}, {0, 0, 1}},                             // centre: forward
      {{6, 2}, {1, 0, 0}},                             // a quarter turn to the right
      {{2, 2}, {-1, 0, 0}},                            // … to the left
      {{0, 2}, {0, 0, -1}},                            // left border: behind
      {{8, 2}, {0, 0, -1}},                            // right border: the same
      {{0, 0}, {0, -1, 0}},                            // top left corner: up, y points down
      {{8, 0}, {0, -1, 0}},                            // the whole top edge is the zenith
      {{3.3, 0}, {0, -1, 0}},                          //
      {{8, 4}, {0, 1, 0}},                             // the whole bottom edge is the nadir
      {{4, 1}, {0, -std::sqrt(0.5), std::sqrt(0.5)}},  // 45° up ahead
      {{5, 2}, {std::sqrt(0.5), 0, std::sqrt(0.5)}},   // 45° to the right
  };
  int cases = 0;
  for (const auto& [px, direction] : by_hand) {
    CAPTURE(px);
    CHECK((raster.direction(px) - direction).norm() <= 1e-15);
    ++cases;
  }
  CHECK(cases == 11);
  // The centre of the first pixel stands half a pixel inside the corner.
  const Vec3 first = raster.direction({0.5, 0.5});
  CHECK(std::atan2(first.x(), first.z()) == Approx(-kPi + kPi / 8).margin(1e-15));
  CHECK(std::asin(-first.y()) == Approx(kPi / 2 - kPi / 8).margin(1e-15));
}

TEST_CASE("the panorama's seam is at u = 0 and wraps", "[conventions][equirect]") {
  const Equirect raster{8192, 4096};
  CHECK(raster.position({0, 0, -1}).x() == 0);
  CHECK(raster.position({-0.0, 0, -1}).x() == 0);
  CHECK(raster.position({-1e-9, 0, -1}).x() == Approx(0).margin(1e-5));
  CHECK(raster.position({1e-9, 0, -1}).x() == Approx(8192).margin(1e-5));
  CHECK(raster.position({1e-9, 0, -1}).x() < 8192);
  CHECK(raster.position({0, -1, 0}).y() == 0);
  CHECK(raster.position({0, 1, 0}).y() == 4096);
  // Beyond the border the same directions come again.
  CHECK_THAT(raster.direction({8192 + 17.25, 1000}),
             same_direction(raster.direction({17.25, 1000}), 1e-12));
  CHECK_THAT(raster.direction({-3.5, 1000}),
             same_direction(raster.direction({8188.5, 1000}), 1e-12));
}

TEST_CASE("panorama round trips on a dense grid", "[conventions][equirect]") {
  const Equirect raster{512, 256};
  double worst_px = 0;
  double worst_length = 0;
  int cases = 0;
  for (int j = 1; j < 256; ++j) {
    for (int i = 0; i < 512; ++i) {
      for (const double part : {0.0, 0.5}) {
        const Vec2 px(i + part, j + part);
        const Vec3 direction = raster.direction(px);
        worst_length = std::max(worst_length, std::abs(direction.norm() - 1));
        // Towards the poles a pixel of u is a small angle: compare on the sphere's scale.
        const Vec2 off = raster.position(direction) - px;
        const double shrink = std::hypot(direction.x(), direction.z());
        worst_px = std::max({worst_px, std::abs(off.x()) * shrink, std::abs(off.y())});
        ++cases;
      }
    }
  }
  CHECK(cases == 2 * 255 * 512);
  CHECK(worst_px <= 1e-11);
  CHECK(worst_length <= 1e-15);
}

TEST_CASE("panorama positions of random directions come back", "[conventions][equirect]") {
  CAPTURE(seed());
  Random random(1);
  const Equirect raster{2048, 1024};
  double worst_rad = 0;
  for (int i = 0; i < 20000; ++i) {
    const Vec3 direction = random_direction(random);
    const Vec2 px = raster.position(7.5 * direction);
    REQUIRE(px.x() >= 0);
    REQUIRE(px.x() < 2048);
    REQUIRE(px.y() >= 0);
    REQUIRE(px.y() <= 1024);
    worst_rad = std::max(worst_rad, angle_between(raster.direction(px), direction));
  }
  CHECK(worst_rad <= 1e-14);
}

// OpenEXR's latlong environment map (OpenEXR technical introduction and ImfEnvmap.cpp,
// LatLongMap::latLong): pixel (x, y) of a W × H image has latitude −π (y/(H−1) − ½) and longitude
// −2π (x/(W−1) − ½); direction (sin lon cos lat, sin lat, cos lon cos lat) with +y up. Its x grows
// to the left of someone who looks along +z with +y up; ours grows to the right, and our y down.
TEST_CASE("OpenEXR latlong pixels sit half a pixel off ours", "[conventions][equirect]") {
  const int width = 1024;
  const int height = 512;
  const Equirect raster{width, height};
  double worst_px = 0;
  int cases = 0;
  for (int y = 1; y < height - 1; y += 5) {
    for (int x = 0; x < width - 1; x += 3) {
      const double latitude = -kPi * (static_cast<double>(y) / (height - 1) - 0.5);
      const double longitude = -2 * kPi * (static_cast<double>(x) / (width - 1) - 0.5);
      const Vec3 exr(std::sin(longitude) * std::cos(latitude), std::sin(latitude),
                     std::cos(longitude) * std::cos(latitude));
      const Vec2 ours = raster.position({-exr.x(), -exr.y(), exr.z()});
      // Their outermost pixel centres lie on our outermost borders.
      const Vec2 expected(static_cast<double>(x) / (width - 1) * width,
                          static_cast<double>(y) / (height - 1) * height);
      worst_px = std::max(worst_px, (ours - expected).norm());
      ++cases;
    }
  }
  CHECK(cases == 102 * 341);
  CHECK(worst_px <= 1e-9);
  // So a pixel's centre is off by −½ … +½ px from its namesake's, by nothing in the middle.
  const auto their_centre = [&](int x) { return static_cast<double>(x) / (width - 1) * width; };
  CHECK(their_centre(0) - 0.5 == -0.5);
  CHECK(their_centre(width - 1) - (width - 0.5) == 0.5);
  // Longitude 0 is +z in both; longitude π/2 is their +x, our left.
  CHECK_THAT(raster.direction({width / 2.0, height / 2.0}), same_direction({0, 0, 1}, 1e-15));
  CHECK_THAT(raster.direction({width / 4.0, height / 2.0}), same_direction({-1, 0, 0}, 1e-15));
}

TEST_CASE("degrees and radians", "[conventions]") {
  CHECK(rad_from_deg(180) == kPi);
  CHECK(deg_from_rad(kPi / 2) == 90);
  CHECK(deg_from_rad(rad_from_deg(97.5)) == Approx(97.5).epsilon(1e-15));
}

TEST_CASE("rotation vectors turn right-handed, named by both ends", "[conventions]") {
  // A quarter turn about y (down) carries forward (+z) to the right (+x).
  const Quat rig_from_lens = quat_from_rotation_vector({0, kPi / 2, 0});
  CHECK((rig_from_lens * Vec3(0, 0, 1) - Vec3(1, 0, 0)).norm() <= 1e-15);
  CHECK((rig_from_lens.conjugate() * Vec3(1, 0, 0) - Vec3(0, 0, 1)).norm() <= 1e-15);
  CHECK(quat_from_rotation_vector(Vec3::Zero()).coeffs() == Quat::Identity().coeffs());
  CHECK(rotation_vector_from_quat(Quat::Identity()) == Vec3::Zero());
}

TEST_CASE("rotation vectors round trip from nearly nothing to nearly half a turn",
          "[conventions]") {
  CAPTURE(seed());
  Random random(2);
  const std::vector<double> angles = {
      0,       1e-300, 1e-160,  1e-17,      1e-12,      1e-9,       0.99e-8,
      1.01e-8, 1e-6,   0.99e-4, 1.01e-4,    1e-3,       0.1,        1,
      2,       3,      3.1,     kPi - 1e-3, kPi - 1e-6, kPi - 1e-9, kPi - 1e-12};
  int cases = 0;
  for (const double angle : angles) {
    for (int i = 0; i < 50; ++i) {
      const Vec3 axis = random_direction(random);
      const Vec3 vector = angle * axis;
      const Quat rotation = quat_from_rotation_vector(vector);
      CAPTURE(angle, axis);
      REQUIRE(std::abs(rotation.norm() - 1) <= 1e-15);
      // Relative: nothing is lost in small angles either.
      REQUIRE((rotation_vector_from_quat(rotation) - vector).norm() <= 4e-15 * angle);
      // The opposite quaternion is the same rotation.
      const Quat opposite(-rotation.w(), -rotation.x(), -rotation.y(), -rotation.z());
      REQUIRE((rotation_vector_from_quat(opposite) - vector).norm() <= 4e-15 * angle);
      REQUIRE_THAT(opposite, same_rotation(rotation, 1e-15));
      // Against Eigen's own axis and angle.
      REQUIRE_THAT(rotation, same_rotation(Quat(Eigen::AngleAxisd(angle, axis)), 1e-15));
      ++cases;
    }
  }
  CHECK(cases == 21 * 50);
}

TEST_CASE("at half a turn the axis stays, up to its sign", "[conventions]") {
  const Vec3 axis = Vec3(1, -2, 2) / 3;
  const Vec3 back = rotation_vector_from_quat(quat_from_rotation_vector(kPi * axis));
  CHECK(back.norm() == Approx(kPi).epsilon(1e-15));
  CHECK(back.cross(axis).norm() <= 1e-14);
  // Exactly w = 0.
  CHECK((rotation_vector_from_quat(Quat(0, 0, 1, 0)) - Vec3(0, kPi, 0)).norm() <= 1e-15);
}

TEST_CASE("more than half a turn comes back the short way", "[conventions]") {
  const Vec3 back = rotation_vector_from_quat(quat_from_rotation_vector({0, 0, 1.5 * kPi}));
  CHECK((back - Vec3(0, 0, -0.5 * kPi)).norm() <= 1e-14);
}

TEST_CASE("angles between directions keep their digits where acos loses them", "[conventions]") {
  CAPTURE(seed());
  Random random(3);
  int cases = 0;
  for (int i = 0; i < 2000; ++i) {
    const Vec3 a = random_direction(random);
    const Vec3 b = random_direction(random);
    const double by_acos = std::acos(std::clamp(a.dot(b), -1.0, 1.0));
    if (by_acos < 0.1 || by_acos > kPi - 0.1) continue;
    REQUIRE(angle_between(a, b) == Approx(by_acos).epsilon(1e-13));
    REQUIRE(angle_between(3 * a, 0.1 * b) == Approx(by_acos).epsilon(1e-13));
    ++cases;
  }
  CHECK(cases > 1900);
  for (const double small : {0.0, 1e-12, 1e-9, 1e-6, 1e-3}) {
    const Vec3 turned(std::sin(small), 0, std::cos(small));
    CHECK(angle_between(Vec3::UnitZ(), turned) == Approx(small).epsilon(1e-10).margin(1e-20));
    CHECK(kPi - angle_between(-Vec3::UnitZ(), turned) == Approx(small).epsilon(1e-6).margin(1e-15));
  }
  CHECK(angle_between(Vec3::UnitX(), -Vec3::UnitX()) == kPi);
  // What acos makes of a thousandth of a second of arc.
  const double tiny = rad_from_deg(1.0 / 3600 / 1000);
  const Vec3 turned(std::sin(tiny), 0, std::cos(tiny));
  CHECK(std::abs(std::acos(turned.z()) - tiny) > 0.1 * tiny);
  CHECK(std::abs(angle_between(Vec3::UnitZ(), turned) - tiny) < 1e-6 * tiny);
}

}  // namespace seamwright
