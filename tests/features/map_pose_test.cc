#include "features/map_pose.h"

#include <algorithm>
#include <cmath>

#include <catch2/catch.hpp>

#include "tests/support/matchers.h"
#include "tests/support/random_geometry.h"

namespace seamwright {
namespace {

using test::Random;
using test::same_rotation;

Vec3 beyond_the_door(Random& random) {
  return {random.uniform(-1, 1), random.uniform(-1, 1), random.uniform(5, 8)};
}

// Matches between two stands here and two there, some right, most by chance.
struct TwoNetworks {
  MapMotion here_from_there;
  MapStart start;  // as the pair of both first stands tells it
  double length = 0;
  std::vector<Crossing> crossings;

  TwoNetworks(Random& random, int right, int wrong, double scale) {
    const Quat turn(Eigen::AngleAxisd(random.uniform(-kPi, kPi), Vec3::UnitY()) *
                    Eigen::AngleAxisd(0.03, Vec3::UnitX()));
    here_from_there = {turn, Vec3(0.3, 0.05, 9), scale};
    const MapMotion back = here_from_there.inverse();
    length = back.translation.norm();
    start = {turn.conjugate(), Vec3::Zero(), back.translation.normalized()};
    for (int i = 0; i < right + wrong; ++i) {
      const Vec3 point = beyond_the_door(random);
      const Vec3 shown = i < right ? point : beyond_the_door(random);
      const Vec3 eye_a = i % 2 == 0 ? Vec3(0, 0, 0) : Vec3(1.2, 0, -0.5);
      const Vec3 eye_b = i % 4 < 2 ? Vec3(0, 0, 0) : Vec3(-0.7, 0, 0.9);
      const auto ray = [&](const Vec3& eye, const Vec3& at) {
        const Vec3 noise = test::random_offset(random, rad_from_deg(0.03));
        return Ray{eye, ((at - eye).normalized() + noise).normalized()};
      };
      Crossing crossing{{ray(eye_a, point), ray(eye_b, back * shown)}, 0, 0};
      crossing.size_a_rad = 0.1 / (point - eye_a).norm();
      crossing.size_b_rad = 0.1 / (shown - here_from_there * eye_b).norm();
      crossings.push_back(crossing);
    }
  }
};

}  // namespace

TEST_CASE("a motion of one network is told by few right matches of all pairs of stands") {
  CAPTURE(test::seed());
  Random random(31);
  const TwoNetworks made(random, 24, 400, 1);
  const auto pose = find_map_pose(made.crossings, made.start);
  REQUIRE(pose);
  CHECK(std::count(pose->inlier.begin(), pose->inlier.begin() + 24, true) >= 22);
  CHECK(pose->inliers < 40);
  const MapMotion& found = pose->here_from_there;
  CHECK_THAT(found.rotation, same_rotation(made.here_from_there.rotation, rad_from_deg(0.3)));
  CHECK((found.translation - made.here_from_there.translation).norm() <
        0.03 * made.here_from_there.translation.norm());
}

TEST_CASE("one pair of stands: twelve right matches among forty tell a motion") {
  CAPTURE(test::seed());
  Random random(34);
  TwoNetworks made(random, 48, 112, 1);
  std::vector<Crossing> of_first_pair;
  std::vector<int> drawn;
  for (std::size_t i = 0; i < made.crossings.size(); i += 4) {
    drawn.push_back(static_cast<int>(of_first_pair.size()));
    of_first_pair.push_back(made.crossings[i]);
  }
  REQUIRE(of_first_pair.size() == 40);
  const auto motions = find_pair_motions(of_first_pair, drawn);
  REQUIRE_FALSE(motions.empty());
  const RelativePose& motion = motions.front();
  CHECK_THAT(motion.rotation, same_rotation(made.start.there_from_here, rad_from_deg(1)));
  CHECK(angle_between(motion.translation, made.start.way) < rad_from_deg(2));
  CHECK(find_pair_motions(of_first_pair, std::vector<int>{0, 1, 2}).empty());
}

TEST_CASE("networks of unlike scale: many matches say how their sizes go together") {
  CAPTURE(test::seed());
  Random random(32);
  const TwoNetworks made(random, 400, 0, 1.04);
  const auto pose = find_map_pose(made.crossings, made.start);
  REQUIRE(pose);
  CHECK(pose->here_from_there.scale == Approx(1.04).margin(0.01));
  const MapMotion round = pose->here_from_there.inverse();
  const Vec3 point(0.4, -1, 2);
  CHECK((round * (pose->here_from_there * point) - point).norm() < 1e-12);
}

TEST_CASE("a motion that leans is not tried") {
  CAPTURE(test::seed());
  Random random(33);
  TwoNetworks made(random, 50, 0, 1);
  const Quat over(Eigen::AngleAxisd(rad_from_deg(20), Vec3::UnitZ()));
  made.start.there_from_here = over * made.start.there_from_here;
  CHECK_FALSE(find_map_pose(made.crossings, made.start));
}

}  // namespace seamwright
