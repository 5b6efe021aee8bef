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

// Errors of the seam at infinity, each in its own sigmas.
class SeamRatios {
 public:
  void add(const LearnRigResult& learnt, const Rig& body) {
    const RigSolution& solution = learnt.solution;
    const auto misaligned =
        seam_misalignment(solution.rig, body, 0, 1, {.azimuths = 24, .colatitudes = 3});
    std::vector<RibbonAngles> directions;
    for (const SeamSample& sample : misaligned) directions.push_back(sample.at);
    const auto expected = expected_seam_error(solution.rig, learnt.terms,
                                              solution.covariance.values, 0, 1, directions);
    for (std::size_t k = 0; k < misaligned.size(); ++k) {
      if (expected[k].parallax_px == 0) continue;  // at the very edge of what the estimate sees
      add(misaligned[k].parallax_px / expected[k].parallax_px);
      add(misaligned[k].sideways_px / expected[k].sideways_px);
    }
  }
  [[nodiscard]] double normalised() const { return squares_ / count_; }
  [[nodiscard]] double within_two() const { return within_two_ / count_; }

 private:
  void add(double ratio) {
    squares_ += ratio * ratio;
    within_two_ += std::abs(ratio) < 2 ? 1 : 0;
    ++count_;
  }
  double squares_ = 0;
  double within_two_ = 0;
  double count_ = 0;
};

TEST_CASE("claimed error bars hold over bodies") {
  CAPTURE(seed());
  test::RigOptions nominal_options;
  nominal_options.theta_max_rad = rad_from_deg(102);
  const Rig nominal = test::nominal_rig(nominal_options);
  const SharedTerms terms = all_rig_terms(2);
  const SharedPrior prior = prior_of(spread_of_bodies(), nominal, terms);

  double terms_sum = 0;
  SeamRatios seam;
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
    seam.add(*learnt, body);
  }
  REQUIRE(solved > 0.9 * kBodies);
  const double of_terms = terms_sum / solved;
  const double of_seam = seam.normalised();
  WARN("normalised squared error over " << solved << " bodies: terms " << of_terms << ", seam "
                                        << of_seam << "; seam within 2 sigma " << seam.within_two()
                                        << " (Gaussian: 0.954)");
  if (kBodies < 100) return;
  CHECK(of_terms > 0.8);
  CHECK(of_terms < 1.25);
  CHECK(of_seam > 0.8);
  CHECK(of_seam < 1.25);
  CHECK(seam.within_two() > 0.93);
}

// Wide and narrow fields, stands from 0.9 to 2.2 m, stiff and loose bodies, noise that ties share.
struct StrangeBodies {
  SeamRatios seam;
  double headings = 0;  // normalised squared error, sum over stands
  int stands = 0;
  int solved = 0;

  void learn(int index, double shared_px) {
    Random random(5000 + static_cast<std::uint64_t>(index));
    test::RigOptions shape{.curve = index % 3 == 0   ? LensCurve::equisolid
                                    : index % 3 == 1 ? LensCurve::equidistant
                                                     : LensCurve::stereographic,
                           .theta_max_rad = rad_from_deg(96 + 3.5 * (index % 5))};
    const Rig body = test::random_rig(random, shape);
    shape.theta_max_rad += rad_from_deg(1.5);
    Rig start = test::nominal_rig(shape);
    for (std::size_t lens = 0; lens < 2; ++lens) {
      start.lenses[lens].lens.terms[kFocal] = body.lenses[lens].lens.terms[kFocal] * 1.004;
    }
    const double height_m = 0.9 + 0.325 * (index % 5);
    test::RoomSurvey survey =
        test::room_survey(random, body,
                          {.half_size_m = {2.2, 0.5 * (height_m + 1.1) + 0.2, 2.6},
                           .stands = 5,
                           .ring_ties = 150,
                           .tracks = 400,
                           .noise_px = 0.2,
                           .flex_rad = rad_from_deg(0.05) * (index % 4) / 3});
    test::shift_patches(random, body, shared_px, survey.ties);
    const auto learnt =
        learn_rig(start, prior_of({}, start, all_rig_terms(2)), survey.ties, survey.start, {});
    if (!learnt) FAIL("body " << index << ": " << learnt.error().line());
    ++solved;
    seam.add(*learnt, body);
    for (std::size_t s = 1; s < survey.truth.size(); ++s) {
      const Vec3 off = rotation_vector_from_quat(learnt->shots[s].pose.world_from_rig *
                                                 survey.truth[s].pose.world_from_rig.conjugate());
      headings += off.y() * off.y() / learnt->pose_covariance[s](1, 1);
      ++stands;
    }
  }
};

TEST_CASE("claimed error bars hold for bodies that the prior did not draw") {
  CAPTURE(seed());
  constexpr int kStrange = kBodies < 100 ? 2 : 24;
  for (const double shared_px : {0.0, 0.1}) {
    CAPTURE(shared_px);
    StrangeBodies all;
    for (int i = 0; i < kStrange; ++i) all.learn(i, shared_px);
    WARN("normalised squared error over "
         << all.solved << " bodies, " << shared_px << " px shared: seam " << all.seam.normalised()
         << " (within 2 sigma " << all.seam.within_two() << "), headings "
         << all.headings / all.stands);
    if (kBodies < 100) continue;
    CHECK(all.seam.normalised() > 0.7);
    CHECK(all.seam.normalised() < 1.4);
    CHECK(all.headings / all.stands > 0.7);
    CHECK(all.headings / all.stands < 1.4);
  }
}

// Rooms whose walls stand nobody knows where, seen by rings alone: how far off the seam at infinity
// is must be what is claimed, in parallax as well as sideways.
TEST_CASE("claimed error bars hold where rings see rooms alone") {
  CAPTURE(seed());
  constexpr int kRoomBodies = kBodies < 100 ? 2 : 40;
  constexpr int kShots = 4;
  test::RigOptions shape;
  shape.theta_max_rad = rad_from_deg(102);
  const Rig nominal = test::nominal_rig(shape);
  const SharedTerms terms = all_rig_terms(2);
  const SharedPrior prior = prior_of(spread_of_bodies(), nominal, terms);
  double along_squares = 0;
  double across_squares = 0;
  int solved = 0;
  for (int i = 0; i < kRoomBodies; ++i) {
    Random random(3000 + static_cast<std::uint64_t>(i));
    Rig body = drawn_body(random, prior, terms);
    for (MountedLens& mounted : body.lenses) mounted.lens.theta_max_rad = rad_from_deg(100);
    if (body.validate()) continue;
    const double flex_rad = random.uniform(1e-6, rad_from_deg(0.05));
    std::vector<Tie> ties;
    for (int shot = 0; shot < kShots; ++shot) {
      const double height_m = random.uniform(0.9, 2.2);
      const Vec3 half(random.uniform(1.5, 3), 0.5 * (height_m + random.uniform(0.6, 1.2)),
                      random.uniform(1.5, 3.5));
      const Vec3 at(random.uniform(-0.5, 0.5) * half.x(), half.y() - height_m,
                    random.uniform(-0.5, 0.5) * half.z());
      const Quat heading = quat_from_rotation_vector(Vec3(0, random.uniform(-kPi, kPi), 0));
      test::TieOptionsSynthetic options{.per_pair = 100, .noise_px = 0.3};
      options.flex = {Vec3::Zero(), Vec3(random.normal(flex_rad), random.normal(flex_rad),
                                         random.normal(flex_rad))};
      const auto more =
          test::synthetic_ties(random, body, test::box_room(half, at, heading), shot, options);
      ties.insert(ties.end(), more.begin(), more.end());
    }
    const auto learnt = learn_rig(nominal, prior, ties, kShots, {});
    REQUIRE(learnt);
    ++solved;
    const SeamSummary off = *summarise(seam_misalignment(learnt->solution.rig, body, 0, 1));
    const SolutionQuality& claimed = learnt->solution.quality;
    along_squares += std::pow(off.parallax_rms_px / claimed.expected_seam_parallax_px, 2);
    across_squares += std::pow(off.sideways_rms_px / claimed.expected_seam_sideways_px, 2);
  }
  REQUIRE(solved >= 0.9 * kRoomBodies);
  const double along = along_squares / solved;
  const double across = across_squares / solved;
  WARN("normalised squared error of the seam over " << solved << " bodies, rings of rooms alone: "
                                                    << "along " << along << ", across " << across);
  if (kBodies < 100) return;
  CHECK(along > 0.4);
  CHECK(along < 2.5);
  CHECK(across > 0.4);
  CHECK(across < 2.5);
}

// Four lenses in a ring, a third of a metre apart.
TEST_CASE("four lenses that see a room alone claim how far their turns may be off") {
  CAPTURE(seed());
  constexpr int kFourBodies = kBodies < 100 ? 1 : 12;
  test::RigOptions shape{.lens_count = 4, .theta_max_rad = rad_from_deg(102), .baseline_m = 0.3};
  shape.affine_spread = 1e-4;
  shape.decentring_spread = 2e-4;
  double normalised = 0;
  for (int i = 0; i < kFourBodies; ++i) {
    Random random(6000 + static_cast<std::uint64_t>(i));
    const Rig body = test::random_rig(random, shape);
    test::RigOptions wider = shape;
    wider.theta_max_rad = rad_from_deg(104);
    const Rig start = test::nominal_rig(wider);
    const auto ties = test::synthetic_ties(
        random, body, test::box_room({2.5, 1.4, 3}, {0.4, 0.1, -0.5}, Quat::Identity()), 0,
        {.per_pair = 100, .noise_px = 0.3});
    const SharedTerms terms = all_rig_terms(4);
    const auto learnt = learn_rig(start, prior_of({}, start, terms), ties, 1, {});
    REQUIRE(learnt);
    for (std::size_t lens = 1; lens < 4; ++lens) {
      const int column = terms.column(static_cast<int>(lens), kRotationX);
      const Vec3 off = rotation_vector_from_quat(learnt->solution.rig.lenses[lens].rig_from_lens *
                                                 body.lenses[lens].rig_from_lens.conjugate());
      const double claimed = learnt->solution.covariance.values.diagonal().segment<3>(column).sum();
      normalised += off.squaredNorm() / claimed / (3 * kFourBodies);
    }
  }
  WARN("normalised squared error of turns, four lenses in one room: " << normalised);
  if (kBodies < 100) return;
  CHECK(normalised > 0.4);
  CHECK(normalised < 2.5);
}

}  // namespace
}  // namespace seamwright
