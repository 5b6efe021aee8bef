// The solver: whole jobs on one thread, and the kernels inside.

#include <cmath>
#include <vector>

#include <ceres/jet.h>

#include "base/parallel.h"
#include "bench/report.h"
#include "projection/ribbon.h"
#include "solver/learn_rig.h"
#include "solver/seam_error.h"
#include "solver/sight.h"
#include "solver/touch.h"
#include "tests/solver/touched_body.h"
#include "tests/support/rigs.h"
#include "tests/support/tracks.h"

namespace seamwright {
namespace {

using test::Random;

constexpr int kRepetitions = 5;

test::RigOptions shape_of_bodies() {
  test::RigOptions shape;
  shape.theta_max_rad = rad_from_deg(101);
  shape.affine_spread = 1e-4;
  shape.decentring_spread = 2e-4;
  return shape;
}

// What a solve begins with.
struct Posed {
  Rig body;
  Rig start;
  SharedPrior prior;
  std::vector<Tie> ties;
  std::vector<ShotState> shots;
};

// A cold start knows the circle and, after consensus, the focal length to a few tenths of a
// percent.
Rig cold_start(const Rig& body) {
  test::RigOptions shape = shape_of_bodies();
  shape.theta_max_rad = rad_from_deg(104);
  Rig start = test::nominal_rig(shape);
  for (std::size_t i = 0; i < 2; ++i) {
    start.lenses[i].lens.terms[kFocal] = body.lenses[i].lens.terms[kFocal] * 1.003;
  }
  return start;
}

// Ninety rooms and ten yards, 200 ring ties in each, every body flexed a little.
Posed hundred_shots() {
  constexpr int kShots = 100;
  Random random(1);
  Posed posed;
  posed.body = test::random_rig(random, shape_of_bodies());
  for (int shot = 0; shot < kShots; ++shot) {
    const Vec3 at(random.uniform(-1, 1), -0.2 + random.uniform(-0.08, 0.08),
                  random.uniform(-1.2, 1.2));
    const Quat heading = quat_from_rotation_vector(Vec3(0, random.uniform(-kPi, kPi), 0));
    const test::Scene scene =
        shot % 10 == 9 ? test::open_yard(40) : test::box_room({2, 1.3, 2.5}, at, heading);
    test::TieOptionsSynthetic options{.per_pair = 200, .noise_px = 0.15};
    options.flex = {Vec3::Zero(),
                    Vec3(random.normal(3e-4), random.normal(3e-4), random.normal(3e-4))};
    const auto more = test::synthetic_ties(random, posed.body, scene, shot, options);
    posed.ties.insert(posed.ties.end(), more.begin(), more.end());
  }
  posed.shots.resize(kShots);
  posed.start = cold_start(posed.body);
  posed.prior = prior_of(BodySpread{}, posed.start, all_rig_terms(2));
  return posed;
}

Posed six_stands() {
  Random random(2);
  Posed posed;
  posed.body = test::random_rig(random, shape_of_bodies());
  test::RoomSurvey survey = test::room_survey(
      random, posed.body,
      {.stands = 6, .ring_ties = 200, .tracks = 1500, .noise_px = 0.3, .flex_rad = 3e-4});
  posed.ties = std::move(survey.ties);
  posed.shots = std::move(survey.start);
  posed.start = cold_start(posed.body);
  posed.prior = prior_of(BodySpread{}, posed.start, all_rig_terms(2));
  return posed;
}

const Posed& posed_hundred() {
  static const Posed posed = hundred_shots();
  return posed;
}
const Posed& posed_six() {
  static const Posed posed = six_stands();
  return posed;
}

// --- whole jobs ----------------------------------------------------------------------------------

// The seam must be as good as the solution says that it is.
bool holds_its_word(const RigSolution& solution, const Rig& body) {
  const SeamSummary seam = summarise(seam_misalignment(solution.rig, body, 0, 1)).value();
  return seam.parallax_rms_px <= 3 * solution.quality.expected_seam_parallax_px &&
         seam.sideways_rms_px <= 3 * solution.quality.expected_seam_sideways_px &&
         solution.quality.expected_seam_parallax_px < 1;
}

void learn(benchmark::State& state, const Posed& posed) {
  const ThreadLimit one(1);
  for (auto _ : state) {
    const auto learnt = learn_rig(posed.start, posed.prior, posed.ties, posed.shots, {});
    if (!learnt) {
      state.SkipWithError(learnt.error().line().c_str());
      return;
    }
    state.PauseTiming();
    if (!holds_its_word(learnt->solution, posed.body)) {
      state.SkipWithError("the rig is not the body");
      return;
    }
    state.ResumeTiming();
  }
}

void learn_100_shots(benchmark::State& state) { learn(state, posed_hundred()); }
void learn_6_stands_with_tracks(benchmark::State& state) { learn(state, posed_six()); }

void touch_6_ties(benchmark::State& state) {
  const ThreadLimit one(1);
  Random random(3);
  const test::TouchedBody body = test::touched_body(random);
  const Rig shot = test::flexed_at_random(random, body.truth, rad_from_deg(0.2));
  std::vector<Tie> ties;
  for (int i = 0; i < 6; ++i) {
    const TieRange range = i % 3 == 0 ? TieRange::far : TieRange::open;
    ties.push_back(test::manual_tie(
        random, shot, {i * kPi / 3, 0.5, range, range == TieRange::far ? 0 : 0.5, 0.5}));
  }
  for (auto _ : state) {
    const auto touched = touch(body.template_rig, body.covariance, body.flex_sigma_rad, ties);
    if (!touched) {
      state.SkipWithError(touched.error().line().c_str());
      return;
    }
    if (!(touched->moved_sigmas > 0)) state.SkipWithError("nothing moved");
  }
}

// --- one adjustment ------------------------------------------------------------------------------

// All terms, flex and poses free; robust, but so that no honest tie looks like an outlier from the
// start, which would lead to minima of its own. No lean and no known depths: those are not squares.
AdjustOptions adjusting() {
  AdjustOptions options{.max_iterations = 100, .cost_tolerance = 1e-9, .robust_scale = 30};
  options.free_flex = true;
  options.flex_sigma_rad = rad_from_deg(0.03);
  options.depth_floor_sigma_per_m = 0.005;
  return options;
}

void adjust_once(benchmark::State& state, const Posed& posed) {
  const ThreadLimit one(1);
  const SharedTerms terms = all_rig_terms(2);
  for (auto _ : state) {
    const AdjustResult result =
        adjust({posed.start, posed.ties, posed.shots, terms, posed.prior}, adjusting());
    if (!result.usable()) state.SkipWithError("no solution");
    benchmark::DoNotOptimize(result.final_cost);
  }
}

void adjust_100_shots(benchmark::State& state) { adjust_once(state, posed_hundred()); }
void adjust_6_stands(benchmark::State& state) { adjust_once(state, posed_six()); }

// --- kernels -------------------------------------------------------------------------------------

void linearise_sight(benchmark::State& state) {
  const Posed& posed = posed_six();
  const Tie& tie = posed.ties.back();  // a track
  const TiePoint point = locate_tie(posed.start, tie, true, posed.shots);
  const TieSight& sight = tie.sights.back();
  const Mat2 white = whitener(sight.covariance_px2);
  const SeeingLens place = seeing_lens(posed.start, tie, sight, posed.shots);
  if (!point.usable) state.SkipWithError("no point");
  for (auto _ : state) benchmark::DoNotOptimize(linearise(place, sight, white, point));
}

// The yardstick: the same lens differentiated by dual numbers.
void dual_lens_slopes(benchmark::State& state) {
  using Dual = ceres::Jet<double, kLensTermCount + 3>;
  const Lens& lens = posed_six().body.lenses[1].lens;
  Vec3 ray(0.4, 0.8, 0.1);
  std::array<Dual, kLensTermCount> terms;
  for (int i = 0; i < kLensTermCount; ++i) {
    terms[static_cast<std::size_t>(i)] = Dual(lens.terms[static_cast<std::size_t>(i)], i);
  }
  for (auto _ : state) {
    benchmark::DoNotOptimize(ray);
    Eigen::Matrix<Dual, 3, 1> direction;
    for (int k = 0; k < 3; ++k) direction[k] = Dual(ray[k], kLensTermCount + k);
    benchmark::DoNotOptimize(project_with<EquidistantCurve>(terms.data(), direction));
  }
}

void lens_slopes(benchmark::State& state) {
  const Lens& lens = posed_six().body.lenses[1].lens;
  Vec3 ray(0.4, 0.8, 0.1);
  for (auto _ : state) {
    benchmark::DoNotOptimize(ray);
    benchmark::DoNotOptimize(lens.slopes_at(ray));
  }
}

void lens_project(benchmark::State& state) {
  const Lens& lens = posed_six().body.lenses[1].lens;
  Vec3 ray(0.4, 0.8, 0.1);
  for (auto _ : state) {
    benchmark::DoNotOptimize(ray);
    benchmark::DoNotOptimize(lens.project(ray));
  }
}

void lens_unproject(benchmark::State& state) {
  const Lens& lens = posed_six().body.lenses[1].lens;
  Vec2 px = lens.project({0.4, 0.8, 0.1}).value_or(Vec2::Zero());
  const auto back = lens.unproject(px);
  if (!back || (*back - Vec3(0.4, 0.8, 0.1).normalized()).norm() > 1e-9) {
    state.SkipWithError("not the way back");
  }
  for (auto _ : state) {
    benchmark::DoNotOptimize(px);
    benchmark::DoNotOptimize(lens.unproject(px));
  }
}

void find_overlap(benchmark::State& state) {
  const Rig& body = posed_six().body;
  if (!overlap_of(body, 0, 1, 100)) state.SkipWithError("no overlap");
  for (auto _ : state) benchmark::DoNotOptimize(overlap_of(body, 0, 1, 100));
}

void job(const char* name, void (*function)(benchmark::State&)) {
  benchmark::RegisterBenchmark(name, function)
      ->Iterations(1)
      ->Repetitions(kRepetitions)
      ->Unit(benchmark::kMillisecond);
}
void kernel(const char* name, void (*function)(benchmark::State&)) {
  benchmark::RegisterBenchmark(name, function)->Repetitions(kRepetitions);
}

}  // namespace
}  // namespace seamwright

int main(int argc, char** argv) {
  using namespace seamwright;
  job("learn: 100 shots x 200 ring ties", learn_100_shots);
  job("learn: 6 stands, 1500 tracks", learn_6_stands_with_tracks);
  job("touch: 6 ties", touch_6_ties);
  job("adjust: 100 shots x 200 ring ties", adjust_100_shots);
  job("adjust: 6 stands, 1500 tracks", adjust_6_stands);
  kernel("sight with all derivatives", linearise_sight);
  kernel("lens with all derivatives", lens_slopes);
  kernel("lens with all derivatives, dual numbers", dual_lens_slopes);
  kernel("direction to pixel", lens_project);
  kernel("pixel to direction", lens_unproject);
  kernel("overlap of two lenses", find_overlap);
  return bench::run(
      argc, argv, "solver",
      {{.row = "learn: 100 shots x 200 ring ties", .target_ms = 2000},
       {.row = "touch: 6 ties", .target_ms = 50},
       {.row = "lens with all derivatives", .against = "lens with all derivatives, dual numbers"},
       {.row = "sight with all derivatives", .against = "lens with all derivatives, dual numbers"},
       {.row = "pixel to direction", .against = "direction to pixel"}});
}
