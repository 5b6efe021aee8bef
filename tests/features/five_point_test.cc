#include "features/five_point.h"

#include <algorithm>
#include <array>

#include <catch2/catch.hpp>

#include "features/relative_pose.h"
#include "tests/support/matchers.h"
#include "tests/support/random.h"

namespace seamwright {
namespace {

using test::Random;
using test::same_direction;
using test::same_rotation;

Vec3 any_direction(Random& random) {
  return Vec3(random.normal(1), random.normal(1), random.normal(1)).normalized();
}

RelativePose any_motion(Random& random) {
  return {quat_from_rotation_vector(random.uniform(0, 3) * any_direction(random)),
          random.uniform(0.4, 2) * any_direction(random)};
}

// Bearings of a point anywhere around both stands, in front or behind.
BearingPair seen(const RelativePose& motion, Random& random) {
  const Vec3 point = random.uniform(1, 6) * any_direction(random);
  return {point.normalized(), (motion.rotation * point + motion.translation).normalized()};
}

Mat3 essential_of(const RelativePose& motion) {
  const Vec3& t = motion.translation;
  Mat3 cross;
  cross << 0, -t.z(), t.y(), t.z(), 0, -t.x(), -t.y(), t.x(), 0;
  return (cross * motion.rotation.toRotationMatrix()).normalized();
}

// A pair of stands and what joins them, with pupils off the rig's origin.
struct Stands {
  RelativePose motion;
  std::vector<RayPair> pairs;
  int true_pairs = 0;
};

Stands two_stands(Random& random, int good, int bad, double noise_rad) {
  Stands stands{any_motion(random), {}, good};
  const auto blurred = [&](const Vec3& direction) {
    return (direction + noise_rad * Vec3(random.normal(1), random.normal(1), random.normal(1)))
        .normalized();
  };
  for (int i = 0; i < good + bad; ++i) {
    const Vec3 pupil_a(0, 0, random.chance(0.5) ? 0.0135 : -0.0135);
    const Vec3 pupil_b(0, 0, random.chance(0.5) ? 0.0135 : -0.0135);
    const Vec3 point = random.uniform(1, 6) * any_direction(random);
    const Vec3 there = stands.motion.rotation * point + stands.motion.translation;
    RayPair pair{{pupil_a, blurred((point - pupil_a).normalized())},
                 {pupil_b, blurred((there - pupil_b).normalized())}};
    if (i >= good) pair.b.direction = any_direction(random);
    stands.pairs.push_back(pair);
  }
  return stands;
}

}  // namespace

TEST_CASE("five bearings, any way round, give the true motion among their solutions") {
  CAPTURE(test::seed());
  Random random(1);
  int solved = 0;
  constexpr int kRuns = 200;
  for (int run = 0; run < kRuns; ++run) {
    const RelativePose motion = any_motion(random);
    std::array<BearingPair, 5> pairs;
    for (BearingPair& pair : pairs) pair = seen(motion, random);
    const Mat3 truth = essential_of(motion);
    const auto found = essential_matrices(pairs);
    REQUIRE(found.size() <= 10);
    for (const Mat3& essential : found) {
      for (const BearingPair& pair : pairs) {
        REQUIRE(std::abs(pair.b.dot(essential * pair.a)) < 1e-9);
      }
    }
    solved += std::any_of(found.begin(), found.end(), [&](const Mat3& e) {
      return std::min((e - truth).norm(), (e + truth).norm()) < 1e-6;
    });
  }
  // A few samples are nearly degenerate and lose digits.
  CHECK(solved >= kRuns - 4);
}

TEST_CASE("an essential matrix stands for four motions, the true one among them") {
  CAPTURE(test::seed());
  Random random(2);
  for (int run = 0; run < 50; ++run) {
    const RelativePose motion = any_motion(random);
    const auto motions = motions_of(essential_of(motion));
    const auto true_ones =
        std::count_if(motions.begin(), motions.end(), [&](const RelativePose& one) {
          return same_rotation(motion.rotation, 1e-7).match(one.rotation) &&
                 same_direction(motion.translation, 1e-7).match(one.translation);
        });
    CHECK(true_ones == 1);
  }
}

TEST_CASE("a pose is found among sixty percent of outliers") {
  CAPTURE(test::seed());
  Random random(3);
  for (int run = 0; run < 5; ++run) {
    const Stands stands = two_stands(random, 160, 240, rad_from_deg(0.03));
    const auto found = estimate_pose(stands.pairs);
    REQUIRE(found);
    CHECK_THAT(found->pose.rotation, same_rotation(stands.motion.rotation, rad_from_deg(0.1)));
    CHECK_THAT(found->pose.translation,
               same_direction(stands.motion.translation, rad_from_deg(0.5)));
    CHECK(found->sigma_rad < rad_from_deg(0.05));
    const auto kept =
        std::count(found->inlier.begin(), found->inlier.begin() + stands.true_pairs, true);
    CHECK(10 * kept > 9 * stands.true_pairs);
    CHECK(found->inliers - kept <= 4);  // chance puts a few on their epipolar line
  }
}

TEST_CASE("the pupils tell the distance between stands as far as their noise lets them") {
  CAPTURE(test::seed());
  Random random(4);
  const Stands stands = two_stands(random, 1500, 0, rad_from_deg(0.003));
  const auto found = estimate_pose(stands.pairs);
  REQUIRE(found);
  const double off = std::log(found->pose.translation.norm() / stands.motion.translation.norm());
  CHECK(std::abs(off) < 0.05);
  CHECK(found->distance_sigma < 0.3);
}

TEST_CASE("no pose from chance, and none from one place") {
  CAPTURE(test::seed());
  Random random(5);
  CHECK_FALSE(estimate_pose(two_stands(random, 0, 300, 0).pairs));
  Stands turned = two_stands(random, 300, 0, rad_from_deg(0.03));
  for (RayPair& pair : turned.pairs) {
    pair.b.direction = (turned.motion.rotation * pair.a.direction +
                        0.0005 * Vec3(random.normal(1), random.normal(1), random.normal(1)))
                           .normalized();
  }
  CHECK_FALSE(estimate_pose(turned.pairs));
  CHECK_FALSE(estimate_pose({}));
}

}  // namespace seamwright
