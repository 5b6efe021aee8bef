// A tie without its point, against the tie with it.

#include "solver/tie_rows.h"

#include <cmath>
#include <vector>

#include <catch2/catch.hpp>

#include "tests/support/rigs.h"
#include "tests/support/tracks.h"

namespace seamwright {
namespace {

using test::Random;
using test::seed;

// Everything that rows_of() is given, kept together.
struct Given {
  Tie tie;
  DepthBelief belief;
  std::vector<SeeingLens> places;
  std::vector<Mat2> white;
  double robust_scale;

  // With `shots` their tie belongs to a network.
  Given(const Rig& rig, const Tie& seen, ShotStates shots, const AdjustOptions& options)
      : tie(seen), belief(options, seen, 0, shots.empty()), robust_scale(options.robust_scale) {
    for (const TieSight& sight : tie.sights) {
      places.push_back(seeing_lens(rig, tie, sight, shots));
      white.push_back(whitener(sight.covariance_px2));
    }
  }
  [[nodiscard]] SeenTie seen() const { return {tie, belief, places, white, robust_scale}; }

  [[nodiscard]] double cost(const TiePoint& point) const {
    double sum = 0;
    for (std::size_t j = 0; j < tie.sights.size(); ++j) {
      sum += (white[j] * sight_residual(places[j], tie.sights[j], point)).squaredNorm();
    }
    const DepthBelief::Rows rows = belief.rows_at(point.inverse_depth);
    for (const DepthBelief::Row& row : rows) sum += row.value * row.value;
    return sum;
  }
};

TEST_CASE("a settled point lies where its tie costs least, and no step of it is left") {
  CAPTURE(seed());
  Random random(15);
  const Rig rig = test::random_rig(random);
  const test::RoomSurvey survey =
      test::room_survey(random, rig, {.stands = 3, .ring_ties = 20, .tracks = 20, .noise_px = 0.4});
  const AdjustOptions options{
      .robust_scale = 0, .depth_lean_per_m = 20, .depth_floor_sigma_per_m = 0.005};
  const SharedTerms terms(2, [](int, int) { return true; });
  int checked = 0;
  for (const Tie& tie : survey.ties) {
    const Given given(rig, tie, survey.truth, options);
    TiePoint point = locate_tie(rig, tie, true, survey.truth);
    if (!point.usable) continue;
    point.inverse_depth *= 1.05;
    const double left = settle(given.seen(), point);
    const double least = given.cost(point);
    CHECK(left == Approx(least).epsilon(1e-5));
    for (int k = 0; k < 3; ++k) {
      for (const double step : {-1e-4, 1e-4}) {
        TiePoint moved = point;
        if (k < 2) {
          moved.direction =
              (point.direction + step * tangent_basis(point.direction).col(k)).normalized();
        } else {
          moved.inverse_depth += step;
        }
        CHECK(given.cost(moved) > least * (1 - 1e-6));
      }
    }
    const Rows rows = rows_of(given.seen(), point, {terms});
    REQUIRE(rows.rows() == given.seen().left());
    CHECK(rows.rightCols<1>().squaredNorm() == Approx(least).epsilon(1e-5));
    ++checked;
  }
  CHECK(checked > 70);
}

// Stands on the wrong side of each other: every track would stand behind infinity, and fits badly
// there as well. A loss around both the sights and the floor would let go of the floor.
TEST_CASE("a point whose sights fit badly stays before infinity") {
  CAPTURE(seed());
  Random random(17);
  const Rig rig = test::random_rig(random);
  test::RoomSurvey survey =
      test::room_survey(random, rig, {.stands = 4, .ring_ties = 0, .tracks = 100});
  for (ShotState& shot : survey.truth) shot.pose.position *= -1;
  int checked = 0;
  int behind_without_loss = 0;
  for (const Tie& tie : survey.ties) {
    TiePoint point = locate_tie(rig, tie, true, survey.truth);
    if (!point.usable) continue;
    const AdjustOptions options{.robust_scale = 30, .depth_floor_sigma_per_m = 0.005};
    const auto settled = [&](double robust_scale) {
      AdjustOptions settling = options;
      settling.robust_scale = robust_scale;
      TiePoint moved = point;
      settle(Given(rig, tie, survey.truth, settling).seen(), moved);
      return moved.inverse_depth;
    };
    CHECK(settled(options.robust_scale) > -0.3);  // measured: -0.21
    behind_without_loss += settled(0) < -0.4 ? 1 : 0;
    ++checked;
  }
  CAPTURE(behind_without_loss);
  CHECK(checked > 90);
  CHECK(behind_without_loss > 30);
}

// The derivative of what is left, where the point follows the rig.
TEST_CASE("what a tie says of the rig is the slope of its cost with the point settled") {
  CAPTURE(seed());
  Random random(16);
  const Rig rig = test::random_rig(random);
  const SharedTerms terms(2, [](int, int) { return true; });
  auto ties = test::synthetic_ties(random, rig,
                                   test::box_room({2, 1.3, 3}, {0.3, -0.1, 0.4}, Quat::Identity()),
                                   0, {.per_pair = 20, .noise_px = 0.5});
  const double robust_scale = GENERATE(0.0, 1.0);
  const bool alone = GENERATE(true, false);
  CAPTURE(robust_scale, alone);
  // Marked far, so that in a network, too, something pulls at the depth.
  const std::vector<ShotState> shots(alone ? 0 : 1,
                                     ShotState{{}, {Quat::Identity(), Vec3::Zero(), 0}});
  const AdjustOptions options{
      .robust_scale = robust_scale, .depth_lean_per_m = 20, .depth_floor_sigma_per_m = 0.005};
  if (!alone) {
    for (Tie& tie : ties) tie.range = TieRange::far;
  }
  const auto settled = [&](const Rig& at, const Tie& tie) {
    const Given given(at, tie, shots, options);
    TiePoint point = locate_tie(at, tie, true, shots);
    return settle(given.seen(), point);
  };
  int checked = 0;
  for (const Tie& tie : ties) {
    const Given given(rig, tie, shots, options);
    TiePoint point = locate_tie(rig, tie, true, shots);
    REQUIRE(point.usable);
    REQUIRE(settle(given.seen(), point) >= 0);
    const Rows rows = rows_of(given.seen(), point, {terms});
    for (const int slot : {int(kFocal), int(kRadial1), int(kRotationY), int(kPupilX)}) {
      const double slope = 2 * rows.rightCols<1>().dot(rows.col(terms.column(1, slot)));
      const double h = slot == kFocal ? 1e-3 : 1e-6;
      Eigen::VectorXd step = Eigen::VectorXd::Zero(terms.columns());
      step[terms.column(1, slot)] = h;
      const double numeric =
          (settled(terms.stepped(rig, step), tie) - settled(terms.stepped(rig, -step), tie)) /
          (2 * h);
      CHECK(slope == Approx(numeric).epsilon(1e-3).margin(1e-2 * std::abs(h > 1e-5 ? 1 : 100)));
      ++checked;
    }
  }
  CHECK(checked == 80);
}

}  // namespace
}  // namespace seamwright
