#include "solver/learn_rig.h"

#include <cmath>

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

Survey rooms(Random& random, const Rig& body, int stands, double noise_px) {
  Survey survey;
  for (int i = 0; i < stands; ++i) {
    const Vec3 at(random.uniform(-1, 1), random.uniform(-0.1, 0.1), random.uniform(-1.2, 1.2));
    const Quat heading = quat_from_rotation_vector(Vec3(0, random.uniform(-kPi, kPi), 0));
    survey.add(random, body, test::box_room({2, 1.3, 2.5}, at, heading), noise_px);
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

Result<LearnRigResult> learn(const Survey& survey, const Rig& body) {
  test::RigOptions options;
  options.theta_max_rad = rad_from_deg(104);
  Rig start = test::nominal_rig(options);
  // A cold start knows the circle and, after consensus, rotation and focal to a few tenths.
  for (std::size_t i = 0; i < 2; ++i) {
    start.lenses[i].lens.terms[kFocal] = body.lenses[i].lens.terms[kFocal] * 1.004;
  }
  const SharedTerms terms = all_rig_terms(2);
  return learn_rig(start, prior_of({}, start, terms), survey.ties, survey.shots, {});
}

TEST_CASE("rooms and one yard give the ring to a pixel") {
  CAPTURE(seed());
  for (std::uint64_t body_index = 0; body_index < 3; ++body_index) {
    Random random(30 + body_index);
    const Rig body = two_lens_body(random);
    Survey survey = rooms(random, body, 6, 0.15);
    const auto indoors = learn(survey, body);
    REQUIRE(indoors);
    survey.add(random, body, test::open_yard(40), 0.15);
    const auto with_yard = learn(survey, body);
    REQUIRE(with_yard);
    const SeamSummary before = summarise(seam_misalignment(indoors->solution.rig, body, 0, 1));
    const SeamSummary after = summarise(seam_misalignment(with_yard->solution.rig, body, 0, 1));
    WARN(fmt::format(
        "body {}: rooms only along {:.2f} across {:.3f} px; with yard along {:.2f} "
        "across {:.3f} px (claimed {:.2f}, {:.3f}); spread {:.2f} flex {:.5f} rad "
        "(true 0.0003), inliers {:.3f}, stop {} after {}",
        body_index, before.along_rms_px, before.across_rms_px, after.along_rms_px,
        after.across_rms_px, with_yard->solution.quality.expected_seam_along_px,
        with_yard->solution.quality.expected_seam_across_px,
        with_yard->solution.quality.residual_spread, with_yard->solution.quality.flex_sigma_rad,
        with_yard->solution.quality.inlier_share, stop_reason_text(with_yard->stop),
        with_yard->iterations));
    CHECK(after.rms_px <= 1.0);
    CHECK(after.across_rms_px <= 0.3);
  }
}

}  // namespace
}  // namespace seamwright
