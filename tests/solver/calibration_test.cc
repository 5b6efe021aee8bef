// Are the error bars true? Bodies are drawn from the very prior that the solver assumes, their
// rooms and noise at random; then the errors, measured in the claimed covariance, must have unit
// size. (Bar-Shalom, Li, Kirubarajan 2001, Estimation with Applications, 5.4: normalised
// estimation error squared.)

#include <cmath>
#include <vector>

#include <Eigen/Cholesky>

#include "solver/learn_rig.h"
#include "solver/seam_error.h"
#include "tests/support/matchers.h"
#include "tests/support/rigs.h"
#include "tests/support/tracks.h"

namespace seamwright {
namespace {

using test::Random;
using test::seed;

// Sanitized builds look for faults of memory: a few bodies walk the same code.
#ifdef __SANITIZE_ADDRESS__
constexpr int kBodies = 4;
#else
constexpr int kBodies = 200;
#endif

// Tight enough that no lens folds and ties stay inside the start's field of view.
BodySpread spread_of_bodies() {
  BodySpread spread;
  spread.focal_share = 0.01;
  spread.centre_share = 0.005;
  for (double& radial : spread.radial) radial *= 0.5;
  spread.rotation_rad = rad_from_deg(1);
  return spread;
}

// A body from the prior, its baseline as long as the nominal one.
Rig drawn_body(Random& random, const SharedPrior& prior, const SharedTerms& terms) {
  const Eigen::MatrixXd factor = prior.information.llt().matrixL();
  Eigen::VectorXd white(terms.columns());
  for (Eigen::Index i = 0; i < white.size(); ++i) white[i] = random.normal(1);
  const Eigen::VectorXd step = factor.transpose().triangularView<Eigen::Upper>().solve(white);
  Rig body = terms.stepped(prior.reference, step);
  const double length = prior.reference.baseline(0, 1).norm();
  body.lenses[1].pupil = body.lenses[0].pupil - length * body.baseline(0, 1).normalized();
  const Vec3 centre = body.centre();
  for (MountedLens& mounted : body.lenses) mounted.pupil -= centre;
  return body;
}

// (x − x̂)ᵀ Σ⁻¹ (x − x̂) per dimension. The baseline's length is given, not estimated: the step
// along it is left out.
double normalised_error(const RigSolution& solution, const Rig& body, const SharedTerms& terms) {
  const int pupil = terms.column(1, kPupilX);
  // The covariance is that of lens 1 with lens 0's pupil held; rigs are centred.
  const Vec3 baseline = solution.rig.baseline(0, 1);
  Eigen::VectorXd error = terms.difference(solution.rig, body);
  error.segment<3>(pupil) = body.baseline(0, 1) - baseline;
  Eigen::MatrixXd basis = Eigen::MatrixXd::Identity(terms.columns(), terms.columns());
  const Vec3 sideways = baseline.unitOrthogonal();
  basis.block<3, 1>(pupil, pupil) = sideways;
  basis.block<3, 1>(pupil, pupil + 1) = baseline.normalized().cross(sideways);
  basis.block<3, 1>(pupil, pupil + 2) = baseline.normalized();
  std::vector<int> kept;
  for (int c = 0; c < terms.columns(); ++c) {
    if (c != pupil + 2) kept.push_back(c);
  }
  const Eigen::MatrixXd covariance =
      (basis.transpose() * solution.covariance.values * basis)(kept, kept);
  const Eigen::VectorXd turned = (basis.transpose() * error)(kept);
  const Eigen::VectorXd scale = covariance.diagonal().cwiseSqrt().cwiseInverse();
  const Eigen::MatrixXd correlation = scale.asDiagonal() * covariance * scale.asDiagonal();
  const Eigen::VectorXd scaled = scale.cwiseProduct(turned);
  return scaled.dot(correlation.ldlt().solve(scaled)) / static_cast<double>(kept.size());
}

TEST_CASE("claimed error bars hold over bodies") {
  CAPTURE(seed());
  test::RigOptions nominal_options;
  nominal_options.theta_max_rad = rad_from_deg(102);
  const Rig nominal = test::nominal_rig(nominal_options);
  const SharedTerms terms = all_rig_terms(2);
  const SharedPrior prior = prior_of(spread_of_bodies(), nominal, terms);

  double terms_sum = 0;
  double seam_sum = 0;
  double seam_count = 0;
  double within_two = 0;
  int solved = 0;
  for (int i = 0; i < kBodies; ++i) {
    Random random(1000 + static_cast<std::uint64_t>(i));
    Rig body = drawn_body(random, prior, terms);
    for (MountedLens& mounted : body.lenses) mounted.lens.theta_max_rad = rad_from_deg(100);
    if (body.validate()) continue;
    const test::RoomSurvey survey = test::room_survey(
        random, body,
        {.stands = 4, .ring_ties = 60, .tracks = 150, .noise_px = 0.3, .flex_rad = 3e-4});
    const auto learnt = learn_rig(nominal, prior, survey.ties, survey.start, {});
    if (!learnt) FAIL("body " << i << ": " << learnt.error().line());
    ++solved;
    terms_sum += normalised_error(learnt->solution, body, terms);

    const auto misaligned =
        seam_misalignment(learnt->solution.rig, body, 0, 1, {.azimuths = 24, .colatitudes = 3});
    std::vector<RibbonAngles> directions;
    for (const SeamSample& sample : misaligned) directions.push_back(sample.at);
    const auto expected = expected_seam_error(learnt->solution.rig, terms,
                                              learnt->solution.covariance.values, 0, 1, directions);
    for (std::size_t k = 0; k < misaligned.size(); ++k) {
      if (expected[k].parallax_px == 0) continue;  // at the very edge of what the estimate sees
      for (const double ratio : {misaligned[k].parallax_px / expected[k].parallax_px,
                                 misaligned[k].sideways_px / expected[k].sideways_px}) {
        seam_sum += ratio * ratio;
        within_two += std::abs(ratio) < 2 ? 1 : 0;
        ++seam_count;
      }
    }
  }
  REQUIRE(solved > 0.9 * kBodies);
  const double of_terms = terms_sum / solved;
  const double of_seam = seam_sum / seam_count;
  WARN("normalised squared error over " << solved << " bodies: terms " << of_terms << ", seam "
                                        << of_seam << "; seam within 2 sigma "
                                        << within_two / seam_count << " (Gaussian: 0.954)");
  if (kBodies < 100) return;
  CHECK(of_terms > 0.8);
  CHECK(of_terms < 1.25);
  CHECK(of_seam > 0.8);
  CHECK(of_seam < 1.25);
  CHECK(within_two / seam_count > 0.93);
}

}  // namespace
}  // namespace seamwright
