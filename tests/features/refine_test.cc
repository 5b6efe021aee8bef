#include "features/refine.h"

#include <array>
#include <cmath>

#include <Eigen/Eigenvalues>
#include <Eigen/LU>
#include <catch2/catch.hpp>

#include "features/pair_ties.h"
#include "sampling/strip.h"
#include "tests/features/synthetic_shot.h"
#include "tests/support/random.h"

namespace seamwright::test {

namespace {

struct Statistics {
  int tried = 0;
  int refined = 0;
  double rms_px = 0;      // per coordinate, frame px of lens b
  double claimed_px = 0;  // root mean claimed variance per coordinate
  double chi2 = 0;        // mean normalised squared error per coordinate
};

// Covariance of the difference, in px of frame b.
Mat2 in_frame_b(const PairMatch& match) {
  return match.b.px_by_at * match.covariance_px2 * match.b.px_by_at.transpose();
}

// Alignments at random places from starts that are off by 0.7 px a coordinate.
Statistics align_everywhere(const SyntheticShot& shot, const RefineOptions& options, int tries) {
  const MountedLens& lens_a = shot.rig.lenses[0];
  const MountedLens& lens_b = shot.rig.lenses[1];
  const LensView a(match_plane(shot.frames[0]), lens_a);
  const LensView b(match_plane(shot.frames[1]), lens_b);
  const auto grid = matching_grid(shot.rig, 0, 1, rad_from_deg(1.5));
  REQUIRE(grid);
  const PairRefiner refiner(a, b, *grid, options);
  Random random(5);
  Statistics s;
  for (int i = 0; i < tries; ++i) {
    const Vec2 at_a(random.uniform(0, grid->width_px), random.uniform(0, grid->height_px));
    const auto in_a = ribbon_place(*grid, lens_a, at_a);
    if (!in_a) continue;
    const auto in_b = partner_of(shot.scene, lens_a, lens_b, in_a->px, in_a->px);
    if (!in_b) continue;
    const Vec2 start =
        *strip_position(*grid, lens_b, *in_b) + Vec2(random.normal(0.7), random.normal(0.7));
    ++s.tried;
    const auto match = refiner.refine(at_a, start);
    if (!match) continue;
    ++s.refined;
    const auto truth = partner_of(shot.scene, lens_a, lens_b, match->a.px, match->a.px);
    REQUIRE(truth);
    const Vec2 error = match->b.px - *truth;
    const Mat2 covariance = in_frame_b(*match);
    s.rms_px += error.squaredNorm() / 2;
    s.claimed_px += covariance.trace() / 2;
    s.chi2 += error.dot(covariance.inverse() * error) / 2;
  }
  s.rms_px = std::sqrt(s.rms_px / s.refined);
  s.claimed_px = std::sqrt(s.claimed_px / s.refined);
  s.chi2 /= s.refined;
  return s;
}

// A far and smooth world (no depth edges), so that noise is the only error.
SyntheticShot far_shot(double noise) {
  RigOptions options;
  options.width_px = options.height_px = 600;
  return photograph_all(
      random_rig(11, options),
      {.half_size = {200, 130, 300}, .grain_m = 5, .grain_contrast = 0.25, .panels = false}, noise);
}

}  // namespace

TEST_CASE("alignment claims the error it makes", "[refine][long]") {
  CAPTURE(seed());
  RefineOptions options;
  options.sigma_floor_px = 0;  // the floor would hide what is measured here
  options.min_ncc = 0.3;       // or faint places, where honesty is hard, would be left out
  for (const double noise : {0.003, 0.01, 0.03}) {
    const Statistics s = align_everywhere(far_shot(noise), options, 900);
    CAPTURE(noise, s.tried, s.refined, s.rms_px, s.claimed_px, s.chi2);
    REQUIRE(s.refined > 200);
    CHECK(s.chi2 > 0.8);
    CHECK(s.chi2 < 1.25);
    CHECK(s.rms_px < 1.25 * s.claimed_px);
  }
}

TEST_CASE("alignment is precise on good texture", "[refine][long]") {
  CAPTURE(seed());
  const Statistics clean = align_everywhere(far_shot(0), {}, 600);
  CAPTURE(clean.tried, clean.refined, clean.rms_px);
  REQUIRE(clean.refined > 120);
  CHECK(clean.rms_px < 0.015);
  const Statistics noisy = align_everywhere(far_shot(0.003), {}, 600);
  CAPTURE(noisy.rms_px, noisy.claimed_px);
  CHECK(noisy.rms_px < 0.05);
}

TEST_CASE("a brightness ramp across the patch does not bias", "[refine][long]") {
  SyntheticShot shot = far_shot(0.001);
  // Vignetting far beyond that of a lens: half the light at the rim, over the outer third.
  for (std::size_t lens = 0; lens < 2; ++lens) {
    const Vec2 centre = shot.rig.lenses[lens].lens.centre_px();
    for (int y = 0; y < shot.frames[lens].height(); ++y) {
      const auto row = shot.frames[lens].row<float>(y);
      for (int x = 0; x < shot.frames[lens].width(); ++x) {
        const double r = (Vec2(x + 0.5, y + 0.5) - centre).norm() / 292;
        row[static_cast<std::size_t>(x)] *= static_cast<float>(1 - 0.5 * std::max(0.0, 3 * r - 2));
      }
    }
  }
  const Statistics s = align_everywhere(shot, {}, 600);
  CAPTURE(s.tried, s.refined, s.rms_px, s.claimed_px);
  REQUIRE(s.refined > 120);
  CHECK(s.rms_px < 0.06);
}

TEST_CASE("an edge is sure across itself and says so along itself", "[refine]") {
  // Dark and bright half spaces meet at azimuth ψ = 0.3: one straight edge along η, in both lenses.
  RigOptions rig_options;
  rig_options.width_px = rig_options.height_px = 800;
  const Rig rig = nominal_rig(rig_options);
  const auto grid = matching_grid(rig, 0, 1, rad_from_deg(1));
  REQUIRE(grid);
  constexpr double kEdge_rad = 0.3;
  Random random(9);
  const auto edge_frame = [&](const MountedLens& mounted) {
    Image frame(800, 800, Channels::grey, SampleType::f32);
    for (int y = 0; y < 800; ++y) {
      for (int x = 0; x < 800; ++x) {
        const auto d = mounted.direction_in_rig(Vec2(x + 0.5, y + 0.5));
        if (!d) continue;
        const double off_px = (grid->axes.angles(*d).psi_rad - kEdge_rad) * grid->px_per_rad;
        frame.row<float>(y)[static_cast<std::size_t>(x)] =
            static_cast<float>(0.5 + 0.3 * std::tanh(off_px / 1.2) + random.normal(0.001));
      }
    }
    return frame;
  };
  const LensView a(match_plane(edge_frame(rig.lenses[0])), rig.lenses[0]);
  const LensView b(match_plane(edge_frame(rig.lenses[1])), rig.lenses[1]);
  const PairRefiner refiner(a, b, *grid);
  const Vec2 at_a((kEdge_rad - grid->psi_begin_rad) * grid->px_per_rad, 0.5 * grid->height_px);
  const auto match = refiner.refine(at_a, at_a + Vec2(0.6, 2.0));
  REQUIRE(match);
  CHECK(std::abs(match->b.at.x() - match->a.at.x()) < 0.02);
  // Along itself nothing pulls but noise: it stays about where it started and claims the cap.
  CHECK(std::abs(match->b.at.y() - match->a.at.y() - 2.0) < 2);
  const Eigen::SelfAdjointEigenSolver<Mat2> claimed(in_frame_b(*match));
  CHECK(std::sqrt(claimed.eigenvalues()[0]) < 0.1);
  CHECK(std::sqrt(claimed.eigenvalues()[1]) > 4);
  CHECK(std::sqrt(claimed.eigenvalues()[1]) < 10);
}

TEST_CASE("places that cannot be aligned are refused", "[refine]") {
  const SyntheticShot& shot = room_shot();
  const auto grid = matching_grid(shot.rig, 0, 1, rad_from_deg(1));
  REQUIRE(grid);
  Image flat(800, 800, Channels::grey, SampleType::f32);
  for (int y = 0; y < 800; ++y) {
    for (float& value : flat.row<float>(y)) value = 0.4F;
  }
  const LensView a(match_plane(shot.frames[0]), shot.rig.lenses[0]);
  const LensView b(match_plane(shot.frames[1]), shot.rig.lenses[1]);
  const LensView plain(flat, shot.rig.lenses[1]);
  const PairRefiner refiner(a, b, *grid);
  const Vec2 middle(0.5 * grid->width_px, 0.5 * grid->height_px);
  SECTION("no texture") {
    CHECK_FALSE(PairRefiner(a, plain, *grid).refine(middle, middle));
    CHECK_FALSE(PairRefiner(plain, plain, *grid).refine(middle, middle));
  }
  SECTION("another place") {
    Random random(8);
    int accepted = 0;
    for (int i = 0; i < 200; ++i) {
      const Vec2 here(random.uniform(0, grid->width_px), 0.5 * grid->height_px);
      accepted += refiner.refine(here, here + Vec2(60, 0)) ? 1 : 0;
    }
    CHECK(accepted <= 4);
  }
  SECTION("outside the field of view") {
    CHECK_FALSE(refiner.refine(Vec2(100, -50), Vec2(100, -50)));
    CHECK_FALSE(refiner.refine(Vec2(100, 0), Vec2(100, grid->height_px)));
  }
}

}  // namespace seamwright::test
