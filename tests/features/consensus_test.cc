#include "features/consensus.h"

#include <cmath>

#include <catch2/catch.hpp>

#include "features/disparity.h"
#include "projection/ribbon.h"
#include "tests/support/matchers.h"
#include "tests/support/random.h"
#include "tests/support/rigs.h"

namespace seamwright::test {

namespace {

struct Candidates {
  std::vector<Tie> ties;
  std::vector<bool> right;
};

// Sights of points at random distances in the overlap; some wrong partners.
Candidates candidates(const Rig& rig, Random& random, int count, double wrong_share,
                      double nearest_m, double farthest_m, double noise_px) {
  Candidates made;
  const auto overlap = overlap_of(rig, 0, 1, 100, rad_from_deg(1));
  REQUIRE(overlap);
  while (static_cast<int>(made.ties.size()) < count) {
    const Vec3 d = overlap->grid.direction(
        {random.uniform(0, overlap->grid.width_px), random.uniform(0, overlap->grid.height_px)});
    const double inverse = random.uniform(1 / farthest_m, 1 / nearest_m);
    const auto a = rig.lenses[0].project_point(d, inverse);
    auto b = rig.lenses[1].project_point(d, inverse);
    if (!a || !b) continue;
    const bool right = !random.chance(wrong_share);
    if (!right) *b += Vec2(random.normal(60), random.normal(60));
    const auto noisy = [&](const Vec2& px) {
      return Vec2(px + Vec2(random.normal(noise_px), random.normal(noise_px)));
    };
    Tie tie;
    tie.sights = {{0, noisy(*a)}, {1, noisy(*b)}};
    made.ties.push_back(tie);
    made.right.push_back(right);
  }
  return made;
}

int agreements(const std::vector<bool>& claimed, const std::vector<bool>& right, bool which) {
  int count = 0;
  for (std::size_t i = 0; i < right.size(); ++i) {
    count += right[i] == which && claimed[i] == right[i] ? 1 : 0;
  }
  return count;
}

ConsensusOptions wide() {
  ConsensusOptions options;
  options.parallax_slack_rad = rad_from_deg(1);
  return options;
}

}  // namespace

TEST_CASE("consensus finds a wrong rotation in spite of parallax and wrong matches",
          "[consensus]") {
  CAPTURE(seed());
  Random random(1);
  for (int round = 0; round < 8; ++round) {
    CAPTURE(round);
    RigOptions options;
    options.centre_spread_px = 3;
    const Rig truth = random_rig(random, options);
    Candidates c = candidates(truth, random, 300, 0.4, 0.5, 5, 0.5);
    Rig wrong = truth;
    const Vec3 error = random_offset(random, rad_from_deg(4));
    wrong.lenses[1].rig_from_lens =
        quat_from_rotation_vector(error) * truth.lenses[1].rig_from_lens;
    const ConsensusResult result = consensus_of_pair(c.ties, wrong, 0, 1, wide());
    const auto right = static_cast<int>(std::count(c.right.begin(), c.right.end(), true));
    const int bad = static_cast<int>(c.right.size()) - right;
    CHECK(agreements(result.inlier, c.right, true) >= 0.95 * right);
    CHECK(agreements(result.inlier, c.right, false) >= 0.85 * bad);
    CHECK(result.candidates > 250);  // some wrong partners lie outside the field
    CHECK(result.inliers ==
          static_cast<int>(std::count(result.inlier.begin(), result.inlier.end(), true)));

    // The turn about the pole shows in the sideways parts: it is found well. Tilts show in parallax
    // only, mixed with depth: they are found to within the depths' own disparity.
    const Rig better = corrected(wrong, 0, 1, result);
    const Vec3 left = rotation_vector_from_quat(better.lenses[1].rig_from_lens *
                                                truth.lenses[1].rig_from_lens.conjugate());
    const Vec3 pole = RibbonAxes::of_pair(truth, 0, 1).pole();
    CHECK(std::abs(left.dot(pole)) < rad_from_deg(0.1));
    CHECK(left.norm() < rad_from_deg(1.5));
  }
}

TEST_CASE("consensus finds the focal length of far scenes", "[consensus]") {
  CAPTURE(seed());
  Random random(2);
  for (const double scale : {0.94, 1.0, 1.05}) {
    RigOptions options;
    options.centre_spread_px = 0;
    options.radial_spread = 0;
    options.focal_spread = 0;
    const Rig truth = random_rig(random, options);
    Candidates c = candidates(truth, random, 300, 0.3, 20, 1000, 0.5);
    Rig wrong = truth;
    for (MountedLens& mounted : wrong.lenses) {
      mounted.lens.terms[kFocal] /= scale;
      mounted.lens.theta_max_rad *= 1.07;
    }
    const ConsensusResult result = consensus_of_pair(c.ties, wrong, 0, 1, wide());
    CAPTURE(scale, result.focal_scale, result.inliers);
    CHECK(result.focal_scale == Approx(scale).margin(0.003));
    CHECK(agreements(result.inlier, c.right, true) >= 190);
  }
}

TEST_CASE("near objects are not outliers", "[consensus]") {
  CAPTURE(seed());
  Random random(3);
  const Rig rig = random_rig(random);
  Candidates far = candidates(rig, random, 150, 0, 3, 30, 0.3);
  const Candidates near = candidates(rig, random, 30, 0, 0.35, 0.6, 0.3);
  far.ties.insert(far.ties.end(), near.ties.begin(), near.ties.end());
  const ConsensusResult result = consensus_of_pair(far.ties, rig, 0, 1);
  int kept_near = 0;
  for (std::size_t i = 150; i < far.ties.size(); ++i) kept_near += result.inlier[i] ? 1 : 0;
  CHECK(kept_near >= 29);

  // … but what lies behind infinity, or nearer than the nearest object, is.
  ConsensusOptions strict;
  strict.nearest_m = 2;
  strict.parallax_slack_rad = rad_from_deg(0.1);
  strict.largest_focal_change = 0;
  strict.largest_rotation_rad = rad_from_deg(0.2);
  const ConsensusResult fewer = consensus_of_pair(far.ties, rig, 0, 1, strict);
  kept_near = 0;
  for (std::size_t i = 150; i < far.ties.size(); ++i) kept_near += fewer.inlier[i] ? 1 : 0;
  CHECK(kept_near == 0);
}

TEST_CASE("consensus is repeatable and bears little data", "[consensus]") {
  Random random(4);
  const Rig rig = random_rig(random);
  const Candidates c = candidates(rig, random, 80, 0, 1, 10, 0.5);
  const ConsensusResult once = consensus_of_pair(c.ties, rig, 0, 1);
  const ConsensusResult again = consensus_of_pair(c.ties, rig, 0, 1);
  CHECK(once.inlier == again.inlier);
  CHECK(once.correction.coeffs() == again.correction.coeffs());
  CHECK(once.focal_scale == again.focal_scale);

  const ConsensusResult three = consensus_of_pair(std::span(c.ties).first(3), rig, 0, 1);
  CHECK(three.inliers == 3);
  CHECK(three.correction.isApprox(Quat::Identity()));
  const ConsensusResult none = consensus_of_pair(std::span<const Tie>{}, rig, 0, 1);
  CHECK(none.inliers == 0);
  // Ties of other pairs do not take part.
  Tie other;
  other.sights = {{0, Vec2(1000, 100)}, {2, Vec2(1000, 100)}};
  const std::vector<Tie> only_other(10, other);
  CHECK(consensus_of_pair(only_other, rig, 0, 1).candidates == 0);
}

TEST_CASE("disparities are those of the pupils", "[consensus]") {
  RigOptions options;
  options.baseline_m = 0.027;
  const Rig rig = nominal_rig(options);
  const DisparityRange range(rig, 0, 1, 0.3, 10);
  // 27 mm apart, η = 90°: 2 atan(h / D) is 2.58° at 0.6 m, 0.516° at 3 m, 0.052° at 30 m.
  CHECK(deg_from_rad(range.at(kPi / 2, 1 / 0.6)) == Approx(2.578).margin(5e-4));
  CHECK(deg_from_rad(range.at(kPi / 2, 1 / 3.0)) == Approx(0.5157).margin(5e-4));
  CHECK(deg_from_rad(range.at(kPi / 2, 1 / 30.0)) == Approx(0.0516).margin(5e-4));
  CHECK(range.at(kPi / 2, 0) == 0);
  // Given where lens a sees it, the same point.
  const RibbonAxes axes = RibbonAxes::of_pair(rig, 0, 1);
  for (const double eta : {1.2, kPi / 2, 1.9}) {
    const Vec3 point = 0.3 * axes.direction({0.4, eta});
    const double eta_a = axes.angles(point - rig.lenses[0].pupil).eta_rad;
    const double eta_b = axes.angles(point - rig.lenses[1].pupil).eta_rad;
    CHECK(range.nearest_seen_from_a(eta_a) == Approx(eta_a - eta_b).margin(3e-5));
  }
}

}  // namespace seamwright::test
