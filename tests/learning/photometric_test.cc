#include "jobs/learning/photometric.h"

#include <algorithm>
#include <cmath>

#include <catch2/catch.hpp>

#include "tests/support/random.h"
#include "tests/support/rigs.h"

namespace seamwright {
namespace {

using test::Random;
using test::seed;

constexpr int kShots = 5;

struct Body {
  Rig rig = test::nominal_rig();
  std::array<double, 2> gain_ev = {0, 0.4};
};

Body body_with_vignetting() {
  Body body;
  body.rig.lenses[0].lens.vignetting = {-0.15, -0.09, -0.11};
  body.rig.lenses[1].lens.vignetting = {-0.19, -0.12, -0.08};
  return body;
}

struct SceneOptions {
  bool tracks = true;     // false: only both lenses of one shot, near their rims
  double noise = 0.03;    // σ of log light
  double outliers = 0.1;  // glossy surfaces, moved shadows: brighter by up to a factor of 3
};

std::vector<LightPoint> points_of(Random& random, const Body& body, int count,
                                  const SceneOptions& options) {
  std::vector<LightPoint> points;
  for (int i = 0; i < count; ++i) {
    const std::array<double, 3> albedo = {random.uniform(0.05, 0.6), random.uniform(0.05, 0.6),
                                          random.uniform(0.05, 0.6)};
    const int sights = options.tracks ? random.integer(2, 4) : 2;
    const int own_shot = random.integer(0, kShots - 1);
    LightPoint point;
    for (int j = 0; j < sights; ++j) {
      LightSample sight{.sigma = std::max(options.noise, 0.005)};
      sight.shot = options.tracks ? random.integer(0, kShots - 1) : own_shot;
      sight.lens = options.tracks ? random.integer(0, 1) : j;
      sight.r_hat = options.tracks ? std::sqrt(random.uniform(0.01, 1)) : random.uniform(0.88, 1);
      const auto lens = static_cast<std::size_t>(sight.lens);
      // Every shot is exposed as it likes; red is a little stronger in lens 1.
      double gain = std::exp2(0.3 * sight.shot + body.gain_ev[lens]) *
                    body.rig.lenses[lens].lens.vignetting.gain(sight.r_hat) *
                    std::exp(random.normal(options.noise));
      if (random.chance(options.outliers)) gain *= std::exp(random.uniform(0.2, 1.1));
      for (std::size_t c = 0; c < 3; ++c) {
        sight.light[c] = albedo[c] * gain * (c == 0 && lens == 1 ? 1.1 : 1.0);
      }
      point.push_back(sight);
    }
    points.push_back(point);
  }
  return points;
}

double worst_share(const VignettingTerms& fitted, const VignettingTerms& truth) {
  double worst = 0;
  for (double r_hat = 0; r_hat <= 1; r_hat += 0.02) {
    worst = std::max(worst, std::abs(fitted.gain(r_hat) / truth.gain(r_hat) - 1));
  }
  return worst;
}

TEST_CASE("exact light at many radii gives the profile and the gains back", "[photometric]") {
  CAPTURE(seed());
  Random random(31);
  const Body body = body_with_vignetting();
  const auto points = points_of(random, body, 600, {.noise = 0, .outliers = 0});
  const PhotometricFit fit =
      fit_photometry(points, kShots, test::nominal_rig(), {.prior_sigma = 100});
  for (std::size_t lens = 0; lens < 2; ++lens) {
    CHECK(fit.lenses[lens].learned);
    CHECK(worst_share(fit.lenses[lens].vignetting, body.rig.lenses[lens].lens.vignetting) < 1e-4);
  }
  CHECK(fit.gain_ev[1][1] == Approx(0.4).margin(1e-3));
  CHECK(fit.gain_ev[1][0] == Approx(0.4 + std::log2(1.1)).margin(1e-3));
  CHECK(fit.gain_ev[1][2] == Approx(0.4).margin(1e-3));
  CHECK(fit.rms < 1e-3);
}

TEST_CASE("noise and a tenth of glossy sights leave the profile good to a percent",
          "[photometric]") {
  CAPTURE(seed());
  Random random(32);
  const Body body = body_with_vignetting();
  double squares = 0;
  constexpr int kRuns = 12;
  for (int run = 0; run < kRuns; ++run) {
    const auto points = points_of(random, body, 700, {});
    const PhotometricFit fit = fit_photometry(points, kShots, test::nominal_rig());
    for (std::size_t lens = 0; lens < 2; ++lens) {
      const VignettingTerms& truth = body.rig.lenses[lens].lens.vignetting;
      const LensPhotometry& found = fit.lenses[lens];
      CHECK(found.learned);
      CHECK(found.wide_points > 100);
      CHECK(worst_share(found.vignetting, truth) < 0.03);
      squares += std::pow((found.vignetting.gain(1) / truth.gain(1) - 1) / found.rim_sigma, 2);
    }
    CHECK(fit.gain_ev[1][1] == Approx(0.4).margin(0.03));
  }
  CHECK(squares / (2 * kRuns) < 2.5);
  CHECK(squares / (2 * kRuns) > 0.2);
}

TEST_CASE("ties at the rims alone tell gains, and the vignetting stays as it was",
          "[photometric]") {
  CAPTURE(seed());
  Random random(33);
  const Body body = body_with_vignetting();
  Rig start = test::nominal_rig();
  start.lenses[0].lens.vignetting = start.lenses[1].lens.vignetting = {-0.2, -0.1, -0.05};
  const auto points = points_of(random, body, 500, {.tracks = false});
  const PhotometricFit fit = fit_photometry(points, kShots, start);
  for (std::size_t lens = 0; lens < 2; ++lens) {
    CHECK_FALSE(fit.lenses[lens].learned);
    CHECK(fit.lenses[lens].vignetting == start.lenses[lens].lens.vignetting);
    CHECK(fit.lenses[lens].wide_points == 0);
  }
  // What is left of the gain is the difference of the true rims, which the start does not know.
  const double rims = std::log2(body.rig.lenses[1].lens.vignetting.gain(0.94) /
                                body.rig.lenses[0].lens.vignetting.gain(0.94));
  CHECK(fit.gain_ev[1][1] == Approx(0.4 + rims).margin(0.03));
  CHECK(fit.gain_spread_ev[1][1] < 0.05);
}

TEST_CASE("a patch is measured in linear light, or not at all", "[photometric]") {
  const Lens lens = test::nominal_rig({.width_px = 200, .height_px = 200}).lenses[0].lens;
  Image frame(200, 200, Channels::rgb, SampleType::u16);
  for (int y = 0; y < 200; ++y) {
    const auto row = frame.row<std::uint16_t>(y);
    for (int x = 0; x < 200; ++x) {
      // Code 0.5 is light 0.21404 (IEC 61966-2-1); to the right white, to the left black.
      const std::uint16_t code = x >= 150 ? 65535 : x < 40 ? 0 : 32768;
      for (std::size_t c = 0; c < 3; ++c) row[static_cast<std::size_t>(3 * x) + c] = code;
    }
  }
  const auto planes = light_planes_of(frame);
  REQUIRE(planes);
  const auto flat = measure_light(*planes, lens, {100.5, 120.5});
  REQUIRE(flat);
  CHECK(flat->light[1] == Approx(0.21404).epsilon(1e-4));
  CHECK(flat->sigma == Approx(0.02).epsilon(1e-3));
  CHECK(flat->r_hat == Approx(std::hypot(0.5, 20.5) / lens.rim_radius_px()));
  CHECK_FALSE(measure_light(*planes, lens, {151, 100}));  // clipped
  CHECK_FALSE(measure_light(*planes, lens, {20, 100}));   // black
  CHECK_FALSE(measure_light(*planes, lens, {40, 100}));   // half and half
  CHECK_FALSE(measure_light(*planes, lens, {1, 100}));    // at the frame's border
  CHECK_FALSE(measure_light(*planes, lens, {60, 15}));    // outside the field
}

}  // namespace
}  // namespace seamwright
