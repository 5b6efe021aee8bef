// The adjustment against the same problem solved by nothing that the solver uses: numeric
// derivatives of the forward model and dense normal equations in long double. One minimum, one
// covariance.

#include <algorithm>
#include <cmath>
#include <vector>

#include <catch2/catch.hpp>

#include "base/parallel.h"
#include "solver/adjust.h"
#include "solver/body_spread.h"
#include "tests/support/rigs.h"
#include "tests/support/small_reference.h"
#include "tests/support/tracks.h"

namespace seamwright {
namespace {

using test::Random;
using test::seed;
using test::SmallReference;

struct Small {
  Rig start;
  test::RoomSurvey survey;
  SharedPrior prior;
};

// Two stands of a room, a cold start, a wrong tie among the right ones.
Small small_problem(Random& random) {
  test::RigOptions shape;
  shape.theta_max_rad = rad_from_deg(101);
  const Rig body = test::random_rig(random, shape);
  Small small;
  small.survey = test::room_survey(random, body,
                                   {.stands = 2,
                                    .ring_ties = 4,
                                    .tracks = 8,
                                    .longest_track = 4,
                                    .noise_px = 0.3,
                                    .flex_rad = 3e-4});
  small.survey.ties.back().sights.back().px.x() += 2;
  shape.theta_max_rad = rad_from_deg(110);
  small.start = test::nominal_rig(shape);
  for (std::size_t i = 0; i < 2; ++i) {
    small.start.lenses[i].lens.terms[kFocal] = body.lenses[i].lens.terms[kFocal] * 1.002;
  }
  small.prior = prior_of(BodySpread{}, small.start, all_rig_terms(2));
  return small;
}

// Largest difference of two covariances, each entry in the units of its two sigmas.
double gap(const Eigen::MatrixXd& ours, const Eigen::MatrixXd& reference) {
  const Eigen::VectorXd scale = reference.diagonal().cwiseSqrt().cwiseInverse();
  return (scale.asDiagonal() * (ours - reference) * scale.asDiagonal()).cwiseAbs().maxCoeff();
}

void check_against_reference(const AdjustOptions& adjusting) {
  CAPTURE(seed(), adjusting.robust_scale, adjusting.free_flex);
  Random random(90);
  const Small problem = small_problem(random);
  std::vector<TiePoint> points;
  for (const Tie& tie : problem.survey.ties) {
    points.push_back(locate_tie(problem.start, tie, true, problem.survey.start));
    REQUIRE(points.back().usable);
  }
  const SharedTerms terms = all_rig_terms(2);
  const AdjustResult ours = adjust(
      {problem.start, problem.survey.ties, problem.survey.start, terms, problem.prior}, adjusting);
  REQUIRE(ours.usable());
  REQUIRE(ours.covariance.rows() == terms.columns());

  const SmallReference at_start(
      {problem.start, problem.survey.ties, problem.survey.start, terms, std::nullopt},
      problem.prior, points, adjusting);
  CHECK(static_cast<double>(at_start.cost()) == Approx(ours.initial_cost).epsilon(1e-9));
  // From beside the solution: with points of its own to move, the reference creeps from afar.
  Rig beside = ours.rig;
  for (MountedLens& mounted : beside.lenses) mounted.lens.terms[kFocal] *= 1.0003;
  std::vector<TiePoint> near = ours.points;
  for (TiePoint& point : near) point.inverse_depth *= 1.02;
  SmallReference reference({beside, problem.survey.ties, ours.shots, terms, std::nullopt},
                           problem.prior, near, adjusting);
  REQUIRE(static_cast<double>(reference.cost()) > ours.final_cost * 1.1);
  const int steps = reference.solve();
  const Eigen::MatrixXd covariance = reference.covariance();
  const Eigen::VectorXd off = terms.difference(ours.rig, reference.rig())
                                  .cwiseQuotient(ours.covariance.diagonal().cwiseSqrt())
                                  .cwiseAbs();
  // The length of the baseline is held: the spread that is told of it is not the reference's.
  const Vec3 along = reference.rig().baseline(0, 1);
  Eigen::MatrixXd told = covariance;
  const int pupil = terms.column(1, kPupilX);
  told.block<3, 3>(pupil, pupil) += 1e-8 * along * along.transpose();
  const double of_terms = gap(ours.covariance, told);
  const double of_pose = gap(ours.pose_covariance[1], reference.pose_covariance(1));
  WARN("cost " << ours.final_cost << " in " << ours.iterations << " steps, there "
               << static_cast<double>(reference.cost()) << " in " << steps << "; terms differ by "
               << off.maxCoeff() << " sigma, covariances by " << of_terms
               << " of a variance, of the pose by " << of_pose);
  CHECK(std::abs(ours.final_cost / static_cast<double>(reference.cost()) - 1) < 1e-8);
  CHECK(off.maxCoeff() < 1e-3);
  CHECK(of_terms < 1e-3);
  CHECK(of_pose < 1e-3);
  const Vec3 apart = ours.shots[1].pose.position - reference.shots()[1].pose.position;
  CHECK(apart.norm() < 1e-3 * std::sqrt(ours.pose_covariance[1].diagonal().tail<3>().maxCoeff()));
}

TEST_CASE("least squares meet the reference's minimum and covariance") {
  check_against_reference({.max_iterations = 200, .cost_tolerance = 1e-15, .robust_scale = 0});
}

TEST_CASE("with a Cauchy loss the reference's minimum and covariance are met, too") {
  check_against_reference({.max_iterations = 200, .cost_tolerance = 1e-15, .robust_scale = 3});
}

TEST_CASE("with free flex the reference's minimum and covariance are met, too") {
  check_against_reference({.max_iterations = 200,
                           .cost_tolerance = 1e-15,
                           .robust_scale = 3,
                           .free_flex = true,
                           .flex_sigma_rad = 3e-4});
}

TEST_CASE("any number of threads gives the same bits") {
  CAPTURE(seed());
  Random random(91);
  const Rig body = test::random_rig(random, {});
  const test::RoomSurvey survey = test::room_survey(
      random, body,
      {.stands = 3, .ring_ties = 300, .tracks = 200, .noise_px = 0.3, .flex_rad = 3e-4});
  const SharedTerms terms = all_rig_terms(2);
  const SharedPrior prior = prior_of(BodySpread{}, body, terms);
  const auto with_threads = [&](int threads) {
    const ThreadLimit limit(threads);
    return adjust({body, survey.ties, survey.start, terms, prior}, {.free_flex = true});
  };
  const AdjustResult one = with_threads(1);
  REQUIRE(one.usable());
  REQUIRE(one.iterations > 1);
  for (const int threads : {2, 5}) {
    CAPTURE(threads);
    const AdjustResult more = with_threads(threads);
    CHECK(more.final_cost == one.final_cost);
    CHECK(terms.difference(more.rig, one.rig).isZero(0));
    CHECK(more.rig.lenses[1].pupil == one.rig.lenses[1].pupil);
    CHECK(more.covariance == one.covariance);
    CHECK(more.shots[2].pose.position == one.shots[2].pose.position);
    CHECK(more.points.back().inverse_depth == one.points.back().inverse_depth);
  }
}

}  // namespace
}  // namespace seamwright
