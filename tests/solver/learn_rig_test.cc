#include "solver/learn_rig.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "solver/seam_error.h"
#include "tests/support/matchers.h"
#include "tests/support/rigs.h"
#include "tests/support/ties.h"

namespace seamwright {
namespace {

using test::Random;
using test::seed;

struct Survey {
  std::vector<Tie> ties;
  int shots = 0;

  void add(Random& random, const Rig& body, const test::Scene& scene, double noise_px) {
    test::TieOptionsSynthetic options{.per_pair = 200, .noise_px = noise_px};
    options.flex = {Vec3::Zero(),
                    Vec3(random.normal(3e-4), random.normal(3e-4), random.normal(3e-4))};
    const auto more = test::synthetic_ties(random, body, scene, shots++, options);
    ties.insert(ties.end(), more.begin(), more.end());
  }
};

// Rooms that are 2.6 m high, or 1.1 m higher than a high stand.
Survey rooms(Random& random, const Rig& body, int stands, double noise_px, double height_m = 1.5) {
  Survey survey;
  const double half_height_m = std::max(1.3, 0.5 * (height_m + 1.1));
  for (int i = 0; i < stands; ++i) {
    const Vec3 at(random.uniform(-1, 1), half_height_m - height_m + random.uniform(-0.08, 0.08),
                  random.uniform(-1.2, 1.2));
    const Quat heading = quat_from_rotation_vector(Vec3(0, random.uniform(-kPi, kPi), 0));
    survey.add(random, body, test::box_room({2, half_height_m, 2.5}, at, heading), noise_px);
  }
  return survey;
}

Rig two_lens_body(Random& random) {
  test::RigOptions options;
  options.theta_max_rad = rad_from_deg(101);
  options.affine_spread = 1e-4;
  options.decentring_spread = 2e-4;
  return test::random_rig(random, options);
}

// The stands' height was measured, unless options say otherwise.
Result<LearnRigResult> learn(const Survey& survey, const Rig& body,
                             const LearnRigOptions& learning = {.stand_height_m = 1.5}) {
  test::RigOptions options;
  options.theta_max_rad = rad_from_deg(104);
  Rig start = test::nominal_rig(options);
  // A cold start knows the circle and, after consensus, rotation and focal to a few tenths.
  for (std::size_t i = 0; i < 2; ++i) {
    start.lenses[i].lens.terms[kFocal] = body.lenses[i].lens.terms[kFocal] * 1.004;
  }
  const SharedTerms terms = all_rig_terms(2);
  return learn_rig(start, prior_of({}, start, terms), survey.ties, survey.shots, learning);
}

TEST_CASE("rooms and two stands in a yard tell the ring within the claimed error", "[long]") {
  CAPTURE(seed());
  for (std::uint64_t body_index = 0; body_index < 2; ++body_index) {
    Random random(30 + body_index);
    const Rig body = two_lens_body(random);
    Survey survey = rooms(random, body, 6, 0.15);
    const auto indoors = learn(survey, body);
    REQUIRE(indoors);
    survey.add(random, body, test::open_yard(40), 0.15);
    survey.add(random, body, test::open_yard(60), 0.15);
    const auto with_yard = learn(survey, body);
    REQUIRE(with_yard);
    const SeamSummary before =
        summarise(seam_misalignment(indoors->solution.rig, body, 0, 1)).value();
    const SeamSummary after =
        summarise(seam_misalignment(with_yard->solution.rig, body, 0, 1)).value();
    WARN(fmt::format(
        "body {}: rooms only parallax {:.2f} sideways {:.3f} px; with yard parallax {:.2f} "
        "sideways {:.3f} px (claimed {:.2f}, {:.3f}); spread {:.2f} flex {:.5f} rad "
        "(true 0.0003), inliers {:.3f}, stop {} after {}",
        body_index, before.parallax_rms_px, before.sideways_rms_px, after.parallax_rms_px,
        after.sideways_rms_px, with_yard->solution.quality.expected_seam_parallax_px,
        with_yard->solution.quality.expected_seam_sideways_px,
        with_yard->solution.quality.residual_spread, with_yard->solution.quality.flex_sigma_rad,
        with_yard->solution.quality.inlier_share, stop_reason_text(with_yard->stop),
        with_yard->iterations));
    // What one ring can tell: the yard must beat the rooms by far, and the error stay within what
    // the covariance claims. (The demo's test holds the figure for a real picture's ties.)
    CHECK(after.parallax_rms_px < 0.25 * before.parallax_rms_px);
    CHECK(after.parallax_rms_px <= 2.5 * with_yard->solution.quality.expected_seam_parallax_px);
    CHECK(after.rms_px <= 1.0);            // 0.93 and 0.79 measured
    CHECK(after.sideways_rms_px <= 0.15);  // 0.074 measured
  }
}

// Who tells how high the stands were learns as much from low and from high ones. Who does not
// leaves the tilt between the lenses open, and the solution says by how much.
TEST_CASE("low and high stands are learned from as those of eye height", "[long]") {
  CAPTURE(seed());
  for (const double height_m : {0.9, 1.5, 2.2}) {
    CAPTURE(height_m);
    Random random(40);
    const Rig body = two_lens_body(random);
    Survey survey = rooms(random, body, 4, 0.15, height_m);
    survey.add(random, body, test::open_yard(40), 0.15);
    double claimed_px[2];
    for (const bool told : {true, false}) {
      CAPTURE(told);
      LearnRigOptions learning;
      if (told) learning.stand_height_m = height_m;
      const auto learnt = learn(survey, body, learning);
      REQUIRE(learnt);
      const SeamSummary seam = *summarise(seam_misalignment(learnt->solution.rig, body, 0, 1));
      const SolutionQuality& quality = learnt->solution.quality;
      WARN(
          fmt::format("stands of {:.1f} m, {}: parallax {:.2f} px (claimed {:.2f}), sideways "
                      "{:.2f} px ({:.2f})",
                      height_m, told ? "measured" : "not measured", seam.parallax_rms_px,
                      quality.expected_seam_parallax_px, seam.sideways_rms_px,
                      quality.expected_seam_sideways_px));
      if (told) CHECK(seam.parallax_rms_px <= 1);  // 0.71 measured
      CHECK(seam.parallax_rms_px <= 2 * quality.expected_seam_parallax_px);
      CHECK(seam.sideways_rms_px <= 0.5);  // 0.32 measured
      claimed_px[told ? 0 : 1] = quality.expected_seam_parallax_px;
    }
    CHECK(claimed_px[0] < claimed_px[1]);
  }
}

// Above some thousand ties the first rounds ask only some of them.
TEST_CASE("thousands of ties are learned from as well as hundreds", "[long]") {
  CAPTURE(seed());
  Random random(35);
  const Rig body = two_lens_body(random);
  Survey survey = rooms(random, body, 40, 0.15);
  for (int i = 0; i < 6; ++i) survey.add(random, body, test::open_yard(50), 0.15);
  REQUIRE(survey.ties.size() > 8000);
  const auto learnt = learn(survey, body);
  REQUIRE(learnt);
  const SolutionQuality& quality = learnt->solution.quality;
  CHECK(quality.ties > 0.9 * static_cast<double>(survey.ties.size()));
  const SeamSummary seam = summarise(seam_misalignment(learnt->solution.rig, body, 0, 1)).value();
  WARN(fmt::format("parallax {:.3f} sideways {:.3f} px; claimed {:.3f}, {:.3f}; flex {:.5f} rad",
                   seam.parallax_rms_px, seam.sideways_rms_px, quality.expected_seam_parallax_px,
                   quality.expected_seam_sideways_px, quality.flex_sigma_rad));
  CHECK(seam.parallax_rms_px <= 2.5 * quality.expected_seam_parallax_px);
  CHECK(seam.sideways_rms_px <= 2.5 * quality.expected_seam_sideways_px);
  CHECK(seam.rms_px <= 1.0);  // 0.50 measured
  CHECK(quality.flex_sigma_rad == Approx(3e-4).epsilon(0.3));
}

TEST_CASE("too few ties and unconnected lenses are refused") {
  CAPTURE(seed());
  Random random(40);
  const Rig body = two_lens_body(random);
  const SharedTerms terms = all_rig_terms(2);
  Survey survey = rooms(random, body, 1, 0.1);
  survey.ties.resize(10);
  const auto few = learn_rig(body, prior_of({}, body, terms), survey.ties, 1, {});
  REQUIRE_FALSE(few);
  CHECK(few.error().kind == ErrorKind::numeric);
  CHECK_THAT(few.error().line(), Catch::Contains("10 usable of 10 found"));

  test::RigOptions ring{.lens_count = 4};
  const Rig four = test::random_rig(random, ring);
  auto ties = test::synthetic_ties(random, four,
                                   test::box_room({2, 1.3, 2.5}, Vec3::Zero(), Quat::Identity()), 0,
                                   {.per_pair = 40, .noise_px = 0.1});
  std::erase_if(ties, [](const Tie& tie) {
    return std::any_of(tie.sights.begin(), tie.sights.end(),
                       [](const TieSight& sight) { return sight.lens == 2; });
  });
  const auto apart = learn_rig(four, prior_of({}, four, all_rig_terms(4)), ties, 1, {});
  REQUIRE_FALSE(apart);
  CHECK_THAT(apart.error().line(), Catch::Contains("none connect lens 2"));
}

TEST_CASE("a prior that sees less far than the start takes no ties away") {
  CAPTURE(seed());
  Random random(42);
  test::RigOptions plain{.theta_max_rad = rad_from_deg(101)};
  const Rig body = test::random_rig(random, plain);
  const Survey survey = rooms(random, body, 3, 0.1);
  const SharedTerms terms = all_rig_terms(2);
  Rig narrow = body;
  for (MountedLens& lens : narrow.lenses) lens.lens.theta_max_rad = rad_from_deg(91);
  const auto wide_prior = learn_rig(body, prior_of({}, body, terms), survey.ties, survey.shots, {});
  const auto result = learn_rig(body, prior_of({}, narrow, terms), survey.ties, survey.shots, {});
  REQUIRE(wide_prior);
  REQUIRE(result);
  REQUIRE_FALSE(result->held_at_nominal.empty());
  CHECK(result->solution.rig.lenses[0].lens.theta_max_rad == body.lenses[0].lens.theta_max_rad);
  CHECK(result->solution.quality.ties == wide_prior->solution.quality.ties);
  CHECK(result->solution.quality.rms_px == Approx(wide_prior->solution.quality.rms_px));
}

TEST_CASE("wrong ties leave and the rest is not spoiled") {
  CAPTURE(seed());
  Random random(41);
  const Rig body = two_lens_body(random);
  Survey survey = rooms(random, body, 3, 0.1);
  survey.add(random, body, test::open_yard(60), 0.1);
  // One in twenty: what slips through the matcher's own consensus is rarer.
  const std::size_t honest = survey.ties.size();
  const auto clean = learn(survey, body);
  REQUIRE(clean);
  for (std::size_t i = 0; i < honest; i += 20) {
    // Round the ring. (One that seems to lie behind infinity pulls the angular scale instead; how
    // far is bounded by the matcher's gate.)
    Vec2& px = survey.ties[i].sights[1].px;
    const Vec2 centre = body.lenses[1].lens.centre_px();
    px = centre + Eigen::Rotation2Dd(rad_from_deg(random.uniform(1, 3))) * (px - centre);
  }
  const auto result = learn(survey, body);
  REQUIRE(result);
  int kept = 0;
  int moved = 0;
  for (std::size_t i = 0; i < honest; i += 20) {
    ++moved;
    kept += result->inlier[i] != 0 ? 1 : 0;
  }
  REQUIRE(moved >= 40);
  CHECK(kept == 0);
  CHECK(result->solution.quality.inlier_share > 0.88);
  const SeamSummary with = summarise(seam_misalignment(result->solution.rig, body, 0, 1)).value();
  const SeamSummary without = summarise(seam_misalignment(clean->solution.rig, body, 0, 1)).value();
  WARN(fmt::format(
      "parallax, sideways with wrong ties {:.3f}, {:.3f} px; without {:.3f}, {:.3f} px; kept "
      "{} of {} wrong ones",
      with.parallax_rms_px, with.sideways_rms_px, without.parallax_rms_px, without.sideways_rms_px,
      kept, moved));
  // 0.290 and 0.285 px measured, 0.288 and 0.280 without the wrong ones.
  CHECK(with.sideways_rms_px <= without.sideways_rms_px + 0.1);
  CHECK(with.parallax_rms_px <= without.parallax_rms_px + 0.2);
}

TEST_CASE("the expected seam error is that of simulated draws from the covariance", "[long]") {
  CAPTURE(seed());
  Random random(42);
  const Rig body = two_lens_body(random);
  const SharedTerms terms(2, [](int, int slot) { return slot == kFocal || slot == kRotationX; });
  Eigen::MatrixXd covariance = Eigen::MatrixXd::Zero(terms.columns(), terms.columns());
  covariance.diagonal() << 0.09, 0.04, 1e-7;
  const auto directions = seam_directions(body, 0, 1);
  const SeamSummary expected =
      summarise(expected_seam_error(body, terms, covariance, 0, 1, directions)).value();
  double parallax2 = 0;
  double sideways2 = 0;
  constexpr int kDraws = 400;
  for (int i = 0; i < kDraws; ++i) {
    Eigen::VectorXd step(terms.columns());
    for (int c = 0; c < terms.columns(); ++c) step[c] = random.normal(std::sqrt(covariance(c, c)));
    const SeamSummary drawn =
        summarise(seam_misalignment(terms.stepped(body, step), body, 0, 1)).value();
    parallax2 += drawn.parallax_rms_px * drawn.parallax_rms_px / kDraws;
    sideways2 += drawn.sideways_rms_px * drawn.sideways_rms_px / kDraws;
  }
  // 400 draws know a variance to 7 %, its root to 3.5 %; three of these.
  CHECK(std::sqrt(parallax2) == Approx(expected.parallax_rms_px).epsilon(0.11));
  CHECK(std::sqrt(sideways2) == Approx(expected.sideways_rms_px).epsilon(0.11));
}

}  // namespace
}  // namespace seamwright
