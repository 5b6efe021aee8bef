// The adjustment against the same problem in Ceres Solver 2.1.0 (Debian 12's libceres-dev; the run
// says which version it met): one minimum, one covariance.

#include <cmath>
#include <vector>

#include "solver/adjust.h"
#include "solver/body_spread.h"
#include "tests/support/ceres_twin.h"
#include "tests/support/matchers.h"
#include "tests/support/rigs.h"
#include "tests/support/tracks.h"

namespace seamwright {
namespace {

using test::CeresTwin;
using test::Random;
using test::seed;

struct Posed {
  Rig start;
  test::RoomSurvey survey;
  SharedPrior prior;
};

// Four stands of a room, cold start. The start sees beyond the body's field of view, so that every
// tie counts from the first step to the last, here and there.
Posed posed(Random& random) {
  test::RigOptions shape;
  shape.theta_max_rad = rad_from_deg(101);
  shape.affine_spread = 3e-4;
  shape.decentring_spread = 3e-4;
  const Rig body = test::random_rig(random, shape);
  Posed posed;
  posed.survey = test::room_survey(random, body,
                                   {.stands = 4, .ring_ties = 60, .tracks = 150, .noise_px = 0.3});
  shape.theta_max_rad = rad_from_deg(110);
  posed.start = test::nominal_rig(shape);
  for (std::size_t i = 0; i < 2; ++i) {
    posed.start.lenses[i].lens.terms[kFocal] = body.lenses[i].lens.terms[kFocal] * 1.002;
  }
  posed.prior = prior_of(BodySpread{}, posed.start, all_rig_terms(2));
  return posed;
}

// Largest difference of two covariances, each entry in the units of its two sigmas; the sigma along
// the baseline, whose length is held, is left out.
double covariance_gap(const Eigen::MatrixXd& ours, const Eigen::MatrixXd& reference, const Rig& rig,
                      const SharedTerms& terms) {
  const int pupil = terms.column(1, kPupilX);
  const Vec3 along = rig.baseline(0, 1).normalized();
  Eigen::MatrixXd basis = Eigen::MatrixXd::Identity(terms.columns(), terms.columns() - 1);
  basis.block<3, 1>(pupil, pupil) = along.unitOrthogonal();
  basis.block<3, 1>(pupil, pupil + 1) = along.cross(along.unitOrthogonal());
  const Eigen::MatrixXd a = basis.transpose() * ours * basis;
  const Eigen::MatrixXd b = basis.transpose() * reference * basis;
  const Eigen::VectorXd scale = b.diagonal().cwiseSqrt().cwiseInverse();
  return (scale.asDiagonal() * (a - b) * scale.asDiagonal()).cwiseAbs().maxCoeff();
}

void check_against_reference(const AdjustOptions& adjusting) {
  CAPTURE(seed(), adjusting.robust_scale);
  Random random(90);
  const Posed problem = posed(random);
  for (const Tie& tie : problem.survey.ties) {
    REQUIRE(locate_tie(problem.start, tie, true, problem.survey.start).usable);
  }
  const SharedTerms terms = all_rig_terms(2);
  const AdjustResult ours = adjust(problem.start, problem.survey.ties, problem.survey.start, terms,
                                   problem.prior, adjusting);
  REQUIRE(ours.usable());

  CeresTwin twin(problem.start, problem.survey.ties, problem.survey.start, problem.prior,
                 adjusting);
  CHECK(twin.cost() == Approx(ours.initial_cost).epsilon(1e-10));
  const int steps = twin.solve(1e-15, 500);
  REQUIRE(steps >= 0);

  REQUIRE(ours.covariance.rows() == terms.columns());
  const Eigen::VectorXd sigma = ours.covariance.diagonal().cwiseSqrt();
  const Eigen::VectorXd off =
      terms.difference(ours.rig, twin.rig()).cwiseQuotient(sigma).cwiseAbs();
  // From its own solution the twin counts rotations as adjust() does.
  CeresTwin there(twin.rig(), problem.survey.ties, twin.shots(), problem.prior, adjusting);
  there.solve(1e-15, 50);
  const Eigen::MatrixXd reference = there.covariance();
  REQUIRE(reference.rows() == terms.columns());
  const double gap = covariance_gap(ours.covariance, reference, ours.rig, terms);
  WARN("Ceres " << CeresTwin::version() << ": cost " << ours.final_cost << " in " << ours.iterations
                << " steps, there " << twin.cost() << " in " << steps << "; terms differ by "
                << off.maxCoeff() << " sigma, covariances by " << gap << " of a variance");
  CHECK(std::abs(ours.final_cost / twin.cost() - 1) < 1e-8);
  CHECK(off.maxCoeff() < 1e-4);
  CHECK(gap < 0.01);
}

TEST_CASE("least squares meet the reference's minimum and covariance") {
  check_against_reference({.max_iterations = 200, .cost_tolerance = 1e-14, .robust_scale = 0});
}

TEST_CASE("with a Cauchy loss the reference's minimum and covariance are met, too") {
  check_against_reference({.max_iterations = 200, .cost_tolerance = 1e-14, .robust_scale = 3});
}

}  // namespace
}  // namespace seamwright
