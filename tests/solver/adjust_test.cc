#include "solver/adjust.h"

#include <algorithm>
#include <cmath>

#include "solver/body_spread.h"
#include "solver/depth_belief.h"
#include "solver/sight.h"
#include "tests/support/matchers.h"
#include "tests/support/rigs.h"
#include "tests/support/ties.h"

namespace seamwright {
namespace {

using test::Random;
using test::seed;

constexpr int kCurves = kLensCurveCount;
// Sanitized builds look for faults of memory, not of mathematics: one curve walks the same code.
#ifdef __SANITIZE_ADDRESS__
constexpr int kExactCurves = 1;
#else
constexpr int kExactCurves = kLensCurveCount;
#endif

TiePoint some_point(Random& random, const MountedLens& mounted) {
  TiePoint point;
  point.direction = mounted.rig_from_lens *
                    test::random_direction_within(random, 0.9 * mounted.lens.theta_max_rad);
  point.inverse_depth = random.uniform(0.1, 2.0);
  return point;
}

ShotState some_shot(Random& random, double flex_rad) {
  ShotState shot;
  shot.flex = {Vec3::Zero(), test::random_offset(random, flex_rad)};
  shot.pose = {quat_from_rotation_vector(test::random_offset(random, 1.5)),
               test::random_offset(random, 1.0), 0};
  return shot;
}

TEST_CASE("derivatives of a sight match central differences") {
  CAPTURE(seed());
  Random random(11);
  int checked = 0;
  for (int c = 0; c < kCurves; ++c) {
    test::RigOptions options{.curve = static_cast<LensCurve>(c)};
    options.pupil_travel_m = 0.002;
    const Rig rig = test::random_rig(random, options);
    const SharedTerms terms(2, [](int, int) { return true; });
    for (int trial = 0; trial < 20; ++trial) {
      // In its own shot, then in another one.
      const std::vector<ShotState> shots = {some_shot(random, 0.01), some_shot(random, 0.01)};
      const TiePoint point = some_point(random, rig.lenses[1]);
      const TieSight sight{1, Vec2(900, 1000), Mat2::Identity(), trial % 2};
      const Tie tie{.shot = 0, .sights = {sight}};
      const auto residual = [&](const Rig& at, const std::vector<ShotState>& moved,
                                const TiePoint& where) {
        return sight_residual(seeing_lens(at, tie, sight, moved), sight, where);
      };
      const LinearSight linear =
          linearise(seeing_lens(rig, tie, sight, shots), sight, Mat2::Identity(), point);
      CHECK((linear.residual - residual(rig, shots, point)).norm() < 1e-9);
      // What turns or moves the ray also changes the pupil's travel along it, ρ e1 ≈ 1e-3 of the
      // derivative, which is left out on purpose. The lens' own terms do not.
      const auto check = [&](const Vec2& analytic, const Vec2& plus, const Vec2& minus, double h,
                             bool moves_ray = true) {
        const Vec2 numeric = (plus - minus) / (2 * h);
        const double exact = moves_ray && rig.lenses[1].pupil_travel != 0 ? 2e-2 : 1e-5;
        CHECK((analytic - numeric).norm() <= exact * (1 + numeric.norm()));
        ++checked;
      };
      for (int slot = 0; slot < kSlotCount; ++slot) {
        const double h = slot < kRadial1 ? 1e-3 : 1e-6;
        Eigen::VectorXd step = Eigen::VectorXd::Zero(terms.columns());
        step[terms.column(1, slot)] = h;
        check(linear.by_shared.col(slot), residual(terms.stepped(rig, step), shots, point),
              residual(terms.stepped(rig, -step), shots, point), h, slot >= kLensTermCount);
      }
      for (int k = 0; k < 3; ++k) {
        const double h = 1e-6;
        const Vec3 turn = h * Vec3::Unit(k);
        const auto with = [&](std::size_t shot, auto&& change) {
          std::vector<ShotState> moved = shots;
          change(moved[shot]);
          return residual(rig, moved, point);
        };
        const auto flexed_by = [&](const Vec3& by) {
          return [&, by](ShotState& shot) {
            shot.flex[1] = rotation_vector_from_quat(quat_from_rotation_vector(by) *
                                                     quat_from_rotation_vector(shot.flex[1]));
          };
        };
        const auto turned_by = [&](const Vec3& by) {
          return [&, by](ShotState& shot) {
            shot.pose.world_from_rig = quat_from_rotation_vector(by) * shot.pose.world_from_rig;
          };
        };
        const auto shifted_by = [&](const Vec3& by) {
          return [&, by](ShotState& shot) { shot.pose.position += by; };
        };
        const auto seen = static_cast<std::size_t>(tie.shot_of(sight));
        check(linear.by_flex.col(k), with(seen, flexed_by(turn)), with(seen, flexed_by(-turn)), h);
        if (seen != 0) {
          check(linear.by_own_pose.col(k), with(0, turned_by(turn)), with(0, turned_by(-turn)), h);
          check(linear.by_own_pose.col(k + 3), with(0, shifted_by(turn)),
                with(0, shifted_by(-turn)), h);
          check(linear.by_seen_pose.col(k), with(seen, turned_by(turn)),
                with(seen, turned_by(-turn)), h);
          check(linear.by_seen_pose.col(k + 3), with(seen, shifted_by(turn)),
                with(seen, shifted_by(-turn)), h);
        }
        TiePoint plus = point;
        TiePoint minus = point;
        if (k < 2) {
          plus.direction += h * tangent_basis(point.direction).col(k);
          minus.direction -= h * tangent_basis(point.direction).col(k);
        } else {
          plus.inverse_depth += h;
          minus.inverse_depth -= h;
        }
        const Vec2 by_point =
            k < 2 ? Vec2(linear.by_direction * tangent_basis(point.direction).col(k))
                  : linear.by_inverse_depth;
        check(by_point, residual(rig, shots, plus), residual(rig, shots, minus), h);
      }
    }
  }
  CHECK(checked == kCurves * (20 * (kSlotCount + 6) + 10 * 12));
}

TEST_CASE("a whitener squares to the information matrix") {
  Mat2 covariance;
  covariance << 0.25, 0.1, 0.1, 0.16;
  const Mat2 white = whitener(covariance);
  CHECK((white.transpose() * white - covariance.inverse()).norm() < 1e-12);
}

TEST_CASE("a tie is located where it was") {
  CAPTURE(seed());
  Random random(12);
  const Rig rig = test::random_rig(random);
  const auto scene = test::box_room({2, 1.3, 3}, {0.3, -0.1, 0.4}, Quat::Identity());
  const auto ties = test::synthetic_ties(random, rig, scene, 0, {.per_pair = 50});
  REQUIRE(ties.size() == 50);
  for (const Tie& tie : ties) {
    const TiePoint point = locate_tie(rig, tie, true);
    REQUIRE(point.usable);
    CHECK(1.0 / point.inverse_depth == Approx(scene(point.direction)).epsilon(1e-6));
    CHECK(tie_chi2(rig, tie, point, {}) < 1e-12);
  }
}

TEST_CASE("ties that noise puts behind infinity start at zero and do not stay there") {
  CAPTURE(seed());
  Random random(13);
  const Rig rig = test::random_rig(random);
  const auto ties = test::synthetic_ties(random, rig, test::open_yard(400), 0,
                                         {.per_pair = 200, .noise_px = 0.3});
  const auto at_zero = [&](const std::vector<TiePoint>& points) {
    return std::count_if(points.begin(), points.end(), [](const TiePoint& point) {
      return point.usable && point.inverse_depth == 0;
    });
  };
  std::vector<TiePoint> started;
  for (const Tie& tie : ties) started.push_back(locate_tie(rig, tie, true));
  REQUIRE(at_zero(started) > 30);

  AdjustOptions adjusting{.depth_lean_per_m = 20, .depth_floor_sigma_per_m = 0.005};
  const SharedTerms terms = all_rig_terms(2);
  const AdjustResult result =
      adjust(rig, ties, 1, terms, prior_of(BodySpread{}, rig, terms), adjusting);
  REQUIRE(result.usable());
  CHECK(at_zero(result.points) == 0);
  // The floor gives way softly: below it a point's pull and the floor's are in balance.
  CHECK(std::any_of(result.points.begin(), result.points.end(),
                    [](const TiePoint& point) { return point.inverse_depth < -1e-5; }));
}

TEST_CASE("beliefs of a depth cost what they say, with their slopes") {
  CAPTURE(seed());
  Random random(14);
  AdjustOptions options{.depth_lean_per_m = 20, .depth_floor_sigma_per_m = 0.005};
  options.depth_priors = {{.mean_per_m = 0.6, .sigma_per_m = 0.05, .weight = 0.7}};
  const Tie far{.range = TieRange::far};
  const DepthBelief belief(options, far, 0, true);
  REQUIRE(belief.count() == 3);
  const auto cost_at = [&](double rho) {
    double sum = 0;
    for (const DepthBelief::Row& row : belief.rows_at(rho)) sum += row.value * row.value;
    return sum;
  };
  const auto said_at = [&](double rho) {
    const double below = std::min(rho, 0.0) / options.depth_floor_sigma_per_m;
    const double off = (rho - 0.6) / 0.05;
    return 2 * rho / 20 + std::pow(rho / options.far_sigma_per_m, 2) + below * below +
           0.7 * std::log1p(off * off);
  };
  int checked = 0;
  for (int trial = 0; trial < 100; ++trial) {
    const double rho = random.uniform(-0.05, 2);
    CAPTURE(rho);
    CHECK(cost_at(rho) - cost_at(0) == Approx(said_at(rho) - said_at(0)).margin(1e-9));
    constexpr double kStep = 1e-7;
    if (std::abs(rho) < kStep) continue;
    const DepthBelief::Rows rows = belief.rows_at(rho);
    const DepthBelief::Rows more = belief.rows_at(rho + kStep);
    const DepthBelief::Rows less = belief.rows_at(rho - kStep);
    for (std::size_t k = 0; k < rows.size(); ++k) {
      CHECK(rows[k].slope ==
            Approx((more[k].value - less[k].value) / (2 * kStep)).epsilon(1e-5).margin(1e-6));
      ++checked;
    }
  }
  CHECK(checked >= 290);
  // A network knows its depths.
  const DepthBelief in_network(options, Tie{}, 0, false);
  CHECK(in_network.count() == 1);
}

// Ties that noise puts behind infinity start there, and must know of the wall in front of them.
TEST_CASE("at depth zero the floor of depths is felt") {
  const AdjustOptions options{.depth_floor_sigma_per_m = 0.005};
  const DepthBelief belief(options, Tie{}, 0, true);
  REQUIRE(belief.count() == 1);
  CHECK(belief.rows_at(1e-9)[0].slope == 0);
  CHECK(belief.rows_at(0)[0].slope == Approx(1 / 0.005));
  CHECK(belief.rows_at(-1e-9)[0].slope == Approx(1 / 0.005));
}

// Exact ties of a far scene and of a room, every base curve; the start is the nominal body. The
// far ties are marked: without them scale and depth cannot be told apart by one ring.
void check_exact_recovery(int lens_count, LensCurve curve) {
  CAPTURE(seed(), lens_count, curve_name(curve));
  Random random(100 + static_cast<std::uint64_t>(curve));
  test::RigOptions options{.lens_count = lens_count, .curve = curve};
  // Near enough that no tie starts beyond a fold; how far a start may be off is for learn_rig.
  options.focal_spread = 0.004;
  options.centre_spread_px = 6;
  options.radial_spread = 0.004;
  options.mount_spread_rad = rad_from_deg(0.4);
  options.theta_max_rad = rad_from_deg(lens_count == 2 ? 110 : 95);
  if (curve == LensCurve::orthographic && lens_count == 2)
    return;  // never sees past 90°: no overlap
  const Rig truth = test::random_rig(random, options);
  Rig start = test::nominal_rig(options);
  for (std::size_t i = 0; i < start.lenses.size(); ++i) {
    start.lenses[i].lens.theta_max_rad += rad_from_deg(2);  // room for the start's error
    if (start.lenses[i].lens.validate()) start.lenses[i].lens.theta_max_rad -= rad_from_deg(2);
  }
  std::vector<Tie> ties = test::synthetic_ties(random, truth, test::open_yard(50), 0,
                                               {.per_pair = lens_count == 2 ? 120 : 30,
                                                .margin_rad = rad_from_deg(1),
                                                .range = TieRange::far});
  const auto near = test::synthetic_ties(
      random, truth, test::box_room({2, 1.3, 3}, {0.3, -0.1, 0.4}, Quat::Identity()), 1,
      {.per_pair = lens_count == 2 ? 120 : 30, .margin_rad = rad_from_deg(1)});
  ties.insert(ties.end(), near.begin(), near.end());

  const SharedTerms terms = all_rig_terms(lens_count);
  AdjustOptions adjusting{.max_iterations = 400, .cost_tolerance = 1e-16, .robust_scale = 0};
  adjusting.far_sigma_per_m = 1e-6;
  // The true baseline's length is the scale: an input.
  const double length = truth.baseline(0, 1).norm();
  start.lenses[1].pupil = start.lenses[0].pupil - length * start.baseline(0, 1).normalized();
  const Vec3 shift = truth.lenses[0].pupil - start.lenses[0].pupil;
  for (auto& mounted : start.lenses) mounted.pupil += shift;

  const AdjustResult result = adjust(start, ties, 2, terms, std::nullopt, adjusting);
  CAPTURE(result.iterations, result.initial_cost, result.final_cost);
  REQUIRE(result.usable());
  for (int lens = 0; lens < lens_count; ++lens) {
    CAPTURE(lens);
    const MountedLens& found = result.rig.lenses[static_cast<std::size_t>(lens)];
    const MountedLens& true_lens = truth.lenses[static_cast<std::size_t>(lens)];
    CHECK(std::abs(found.lens.terms[kFocal] / true_lens.lens.terms[kFocal] - 1) <= 1e-6);
    for (const LensTerm term : {kCentreU, kCentreV}) {
      CHECK(std::abs(found.lens.terms[term] / true_lens.lens.terms[term] - 1) <= 1e-6);
    }
    for (int term = kRadial1; term < kLensTermCount; ++term) {
      CAPTURE(term);
      const auto i = static_cast<std::size_t>(term);
      CHECK(std::abs(found.lens.terms[i] - true_lens.lens.terms[i]) <= 1e-6);
    }
    CHECK_THAT(found.rig_from_lens, test::same_rotation(true_lens.rig_from_lens, 1e-6));
    CHECK((found.pupil - true_lens.pupil).norm() <= 1e-6 * length * 10);
  }
}

TEST_CASE("exact ties give the terms back, two lenses") {
  for (int curve = 0; curve < kExactCurves; ++curve) {
    check_exact_recovery(2, static_cast<LensCurve>(curve));
  }
}

TEST_CASE("exact ties give the terms back, six lenses") {
  for (int curve = 0; curve < kExactCurves; ++curve) {
    check_exact_recovery(6, static_cast<LensCurve>(curve));
  }
}

}  // namespace
}  // namespace seamwright
