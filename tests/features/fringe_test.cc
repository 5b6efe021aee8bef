#include "features/fringe.h"

#include <algorithm>
#include <cmath>

#include <catch2/catch.hpp>

#include "tests/features/coloured_tiles.h"
#include "tests/support/random.h"

namespace seamwright {
namespace {

using test::Random;
using test::seed;
using test::TileOptions;

FringeSamples measured(const Lens& lens, const TileOptions& options) {
  const auto planes = light_planes_of(test::tile_frame(lens, options));
  REQUIRE(planes);
  return measure_fringes(*planes, lens);
}

double shift_px(const FringeTerms& terms, double r_hat, double rim_px) {
  return rim_px * r_hat * (terms.scale(r_hat) - 1);
}

double worst_px(const FringeTerms& fitted, const FringeTerms& truth, double rim_px) {
  double worst = 0;
  for (double r_hat = 0; r_hat <= 1; r_hat += 0.01) {
    worst =
        std::max(worst, std::abs(shift_px(fitted, r_hat, rim_px) - shift_px(truth, r_hat, rim_px)));
  }
  return worst;
}

// Shifts as measured: noise, and a share of gross errors.
std::vector<FringeSample> samples_of(Random& random, const FringeTerms& truth, double rim_px,
                                     int count, double sigma_px, double outliers,
                                     double reach = 1) {
  std::vector<FringeSample> samples;
  for (int i = 0; i < count; ++i) {
    const double r_hat = reach * std::sqrt(random.uniform(0, 1));
    FringeSample sample{.radius_px = r_hat * rim_px, .sigma_px = sigma_px};
    sample.radial_px = shift_px(truth, r_hat, rim_px) + random.normal(sigma_px);
    if (random.chance(outliers)) sample.radial_px += random.uniform(0, 3);
    sample.tangential_px = random.normal(sigma_px);
    sample.tangential_sigma_px = sigma_px;
    samples.push_back(sample);
  }
  return samples;
}

TEST_CASE(
    "fringes of coloured tiles with windows are found to a tenth of a pixel in one small frame",
    "[fringe]") {
  CAPTURE(seed());
  const TileOptions options;
  Lens lens = test::tile_lens(options);
  const Lens clean = lens;
  lens.red = {.a0 = 6e-4, .a1 = 2e-3, .a2 = 1e-3};        // 1 px at the rim
  lens.blue = {.a0 = -9e-4, .a1 = -1.5e-3, .a2 = -2e-3};  // 1.3 px inwards
  const double rim_px = lens.rim_radius_px();
  const FringeSamples samples = measured(clean, options);
  const FringeSamples fringed = measured(lens, options);
  for (const bool blue : {false, true}) {
    CAPTURE(blue);
    const FringeFit none = fit_fringe(blue ? samples.blue : samples.red, rim_px);
    CHECK(worst_px(none.terms, {}, rim_px) < 0.08);
    const FringeTerms& truth = blue ? lens.blue : lens.red;
    const FringeFit fit = fit_fringe(blue ? fringed.blue : fringed.red, rim_px);
    CAPTURE(fit.patches, fit.outliers, fit.spread, fit.terms.a0, fit.terms.a1, fit.terms.a2);
    CHECK(fit.patches > 200);
    CHECK(worst_px(fit.terms, truth, rim_px) < 0.1);
    CHECK(std::abs(shift_px(fit.terms, 1, rim_px) - shift_px(truth, 1, rim_px)) <
          4 * fit.sigma_px(1, rim_px));
    CHECK(fit.sigma_px(1, rim_px) < 0.05);
    // Patches on borders of three colours are worse than their noise tells; the fit's own sigma
    // is scaled by this.
    CHECK(fit.spread > 0.5);
    CHECK(fit.spread < 2.2);
    CHECK(fit.before_px > 0.7);
    CHECK(fit.after_px < 0.2);
    CHECK(std::abs(fit.tangential_mean_px) < 0.02);
  }
}

TEST_CASE("patches lie all over the field, none on clipped pixels", "[fringe]") {
  const TileOptions options;
  const Lens lens = test::tile_lens(options);
  const auto planes = light_planes_of(test::tile_frame(lens, options));
  REQUIRE(planes);
  const FringeOptions fringe;
  const FringeSamples samples = measure_fringes(*planes, lens, fringe);
  std::vector<int> sectors(12, 0);
  double outermost = 0;
  for (const FringeSample& sample : samples.red) {
    CHECK(planes->whole(sample.px, fringe.window / 2));
    const Vec2 offset = sample.px - lens.centre_px();
    CHECK(offset.norm() == Approx(sample.radius_px));
    outermost = std::max(outermost, sample.radius_px);
    const double turn = std::atan2(offset.y(), offset.x()) / (2 * kPi) + 0.5;
    ++sectors[std::min<std::size_t>(11, static_cast<std::size_t>(12 * turn))];
  }
  CHECK(outermost > 0.92 * lens.rim_radius_px());
  CHECK(*std::min_element(sectors.begin(), sectors.end()) >= 10);
}

TEST_CASE("frames without colour or texture have no fringes to measure", "[fringe]") {
  const Lens lens = test::tile_lens({});
  const auto grey = light_planes_of(Image(600, 600, Channels::grey, SampleType::u16));
  REQUIRE(grey);
  CHECK(measure_fringes(*grey, lens).red.empty());
  const auto blank = light_planes_of(Image(600, 600, Channels::rgb, SampleType::u8));
  REQUIRE(blank);
  const FringeSamples samples = measure_fringes(*blank, lens);
  CHECK(samples.red.empty());
  const FringeFit fit = fit_fringe(samples.red, lens.rim_radius_px());
  CHECK(fit.order == 0);
  CHECK(fit.terms == FringeTerms{});
}

TEST_CASE("a fit shrugs off a quarter of gross errors on one side, and claims a true sigma",
          "[fringe]") {
  CAPTURE(seed());
  Random random(5);
  const FringeTerms truth{.a0 = 3e-4, .a1 = 8e-4, .a2 = 4e-4};
  constexpr double kRim_px = 950;
  constexpr int kRuns = 40;
  for (int run = 0; run < kRuns; ++run) {
    const FringeFit fit = fit_fringe(samples_of(random, truth, kRim_px, 800, 0.08, 0.25), kRim_px);
    CHECK(worst_px(fit.terms, truth, kRim_px) < 0.08);  // the mean of all is off by 0.37
    CHECK(fit.outliers > 100);
  }

  double clean = 0;
  for (int run = 0; run < kRuns; ++run) {
    const FringeFit fit = fit_fringe(samples_of(random, truth, kRim_px, 800, 0.08, 0), kRim_px);
    const double error = shift_px(fit.terms, 1, kRim_px) - shift_px(truth, 1, kRim_px);
    clean += std::pow(error / fit.sigma_px(1, kRim_px), 2);
  }
  CHECK(clean / kRuns > 0.4);
  CHECK(clean / kRuns < 1.9);
}

TEST_CASE("terms that the patches do not support are dropped", "[fringe]") {
  CAPTURE(seed());
  Random random(6);
  constexpr double kRim_px = 950;
  const FringeTerms plain{.a0 = 8e-4};
  int dropped = 0;
  for (int run = 0; run < 20; ++run) {
    const FringeFit fit = fit_fringe(samples_of(random, plain, kRim_px, 600, 0.08, 0.05), kRim_px);
    if (fit.order < 3) ++dropped;
    CHECK(worst_px(fit.terms, plain, kRim_px) < 0.08);
  }
  CHECK(dropped >= 5);  // two in three when the term is noise
  // Nothing beyond 60 % of the rim: no polynomial that runs away outside.
  const FringeTerms full{.a0 = 3e-4, .a1 = 8e-4, .a2 = 4e-4};
  const FringeFit inner =
      fit_fringe(samples_of(random, full, kRim_px, 600, 0.08, 0.05, 0.6), kRim_px);
  CHECK(inner.order == 1);
  const FringeFit few = fit_fringe(samples_of(random, full, kRim_px, 30, 0.08, 0), kRim_px);
  CHECK(few.order == 0);
  CHECK(few.patches == 30);
}

}  // namespace
}  // namespace seamwright
