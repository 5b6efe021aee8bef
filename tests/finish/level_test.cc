#include "compose/finish/level.h"

#include <catch2/catch.hpp>

#include "base/parallel.h"
#include "tests/finish/sphere_pictures.h"
#include "tests/imaging/pictures.h"
#include "tests/support/random_geometry.h"
#include "tests/support/rigs.h"

namespace seamwright {
namespace {

using test::panorama_of;
using test::psnr_db;
using test::Random;
using test::seed;

bool everywhere(int, int) { return true; }

// A box of a room, 5 × 3 × 4 m, in flat colours with dark posts in its walls, seen from a leaning
// stand: code values by direction.
test::Codes room(const Quat& world_from_rig) {
  return [world_from_rig](const Vec3& in_rig, int colour) {
    const Vec3 d = world_from_rig * in_rig;
    const Vec3 half(2.5, 1.5, 2.0);
    const Vec3 from(0.3, 0.1, -0.4);
    double nearest = 1e9;
    int axis = 0;
    for (int i = 0; i < 3; ++i) {
      if (std::abs(d[i]) < 1e-12) continue;
      const double t = ((d[i] > 0 ? half[i] : -half[i]) - from[i]) / d[i];
      if (t < nearest) {
        nearest = t;
        axis = i;
      }
    }
    const Vec3 hit = from + nearest * d;
    if (axis == 1) return d.y() > 0 ? 0.3 : 0.8;
    const double along = axis == 0 ? hit.z() : hit.x();
    const bool post = std::fmod(along + 10, 0.7) < 0.25;
    return post ? 0.25 : 0.6 + 0.05 * colour;
  };
}

TEST_CASE("a leaning panorama of a room is set upright to 0.1 degrees", "[finish][level]") {
  int cases = 0;
  for (const auto& [pitch_deg, roll_deg] : {std::pair{0.0, 0.0}, {1.2, -0.7}, {-3.0, 4.0}}) {
    const Quat world_from_rig(Eigen::AngleAxisd(0.4, Vec3::UnitY()) *
                              Eigen::AngleAxisd(rad_from_deg(pitch_deg), Vec3::UnitX()) *
                              Eigen::AngleAxisd(rad_from_deg(roll_deg), Vec3::UnitZ()));
    const Vec3 down = world_from_rig.conjugate() * Vec3::UnitY();
    const auto found = find_vertical(panorama_of(1024, room(world_from_rig)));
    REQUIRE(found);
    CAPTURE(pitch_deg, roll_deg, found->edges, found->edges_seen, found->sigma_deg);
    CHECK(deg_from_rad(angle_between(found->down, down)) < 0.1);
    ++cases;
  }
  CHECK(cases == 3);
}

TEST_CASE("a panorama without straight edges has no level", "[finish][level]") {
  const auto found = find_vertical(panorama_of(512, test::waves(9)));
  REQUIRE_FALSE(found);
  CHECK(found.error().line().find("no verticals") != std::string::npos);
}

TEST_CASE("the level's turn takes down to down and the middle to the middle", "[finish][level]") {
  CAPTURE(seed());
  Random random(21);
  for (int i = 0; i < 20; ++i) {
    const Vec3 down = Vec3(0.2 * random.normal(1), 1, 0.2 * random.normal(1)).normalized();
    CHECK((level_from_rig(down) * down - Vec3::UnitY()).norm() < 1e-12);
    const double middle_deg = random.uniform(-180, 180);
    const Quat turn = level_from_rig(Vec3::UnitY(), middle_deg);
    const double lambda = rad_from_deg(middle_deg);
    CHECK((turn * Vec3(std::sin(lambda), 0, std::cos(lambda)) - Vec3::UnitZ()).norm() < 1e-12);
  }
}

// A direction of the scene meets the same pixel whether the scene or the rig is turned.
TEST_CASE("a turned rig sees turned directions at the same pixels", "[finish][level]") {
  CAPTURE(seed());
  Random random(22);
  const Rig rig = test::random_rig(random);
  const Quat turn = level_from_rig(Vec3(0.05, 1, -0.08).normalized(), 33);
  const Rig other = turned(rig, turn);
  CHECK_FALSE(other.validate());
  int seen = 0;
  for (int i = 0; i < 200; ++i) {
    const Vec3 d = Vec3(random.normal(1), random.normal(1), random.normal(1)).normalized();
    for (std::size_t lens = 0; lens < rig.lenses.size(); ++lens) {
      const auto before = rig.lenses[lens].project_point(d, 0.5);
      const auto after = other.lenses[lens].project_point(turn * d, 0.5);
      REQUIRE(before.has_value() == after.has_value());
      if (!before) continue;
      CHECK((*before - *after).norm() < 1e-7);
      ++seen;
    }
  }
  CHECK(seen > 150);
}

TEST_CASE("a turned panorama shows the turned scene", "[finish][level]") {
  const test::Codes scene = test::waves(20);
  const Image straight = panorama_of(512, scene);
  const Quat turn = level_from_rig(Vec3(0.06, 1, 0.03).normalized(), 20);
  const auto result = turn_panorama(straight, turn);
  REQUIRE(result);
  const Image expected =
      panorama_of(512, [&](const Vec3& d, int c) { return scene(turn.conjugate() * d, c); });
  CHECK(psnr_db(*result, expected, everywhere) > 55);
  const ThreadLimit one(1);
  const auto again = turn_panorama(straight, turn);
  REQUIRE(again);
  CHECK(test::same_picture(*result, *again));
}

TEST_CASE("turns by whole columns and mirrors keep every sample", "[finish][level]") {
  CAPTURE(seed());
  Random random(23);
  const Image noise = test::random_image(random, 128, 64, Channels::rgb, SampleType::u16);
  const auto quarter = turn_panorama(noise, level_from_rig(Vec3::UnitY(), 90));
  REQUIRE(quarter);
  // Longitude 90 degrees, column 96, is the middle now.
  CHECK(quarter->row<std::uint16_t>(5)[3 * 64] == noise.row<std::uint16_t>(5)[3 * 96]);
  const auto back = turn_panorama(*quarter, level_from_rig(Vec3::UnitY(), -90));
  REQUIRE(back);
  CHECK(test::same_picture(*back, noise));

  const Image flipped = mirror_image(noise);
  CHECK(flipped.row<std::uint16_t>(9)[1] == noise.row<std::uint16_t>(9)[3 * 127 + 1]);
  CHECK(test::same_picture(mirror_image(flipped), noise));
}

TEST_CASE("only whole spheres are turned", "[finish][level]") {
  const Image flat(128, 100, Channels::rgb, SampleType::u16);
  const auto refused = turn_panorama(flat, Quat::Identity());
  REQUIRE_FALSE(refused);
  CHECK(refused.error().line().find("128 x 100") != std::string::npos);
}

}  // namespace
}  // namespace seamwright
