#include <algorithm>
#include <cmath>

#include <catch2/catch.hpp>

#include "jobs/brackets/merge.h"
#include "tests/brackets/wedge.h"

using namespace seamwright;
using test::seed;

TEST_CASE("A merge is linear over 14 stops and as quiet as can be") {
  CAPTURE(seed());
  const bool linear = GENERATE(true, false);
  CAPTURE(linear);
  // −3, 0 and +2 EV by EXIF; the shutter is off by up to a tenth of a stop.
  const auto series = test::take_wedge({-2.93, 0, 2.06}, {-3, 0, 2}, 420, linear);
  const auto merged = merge_brackets(series.frames, series.nominal);
  REQUIRE(merged);
  const MergeReport& report = merged->report;
  CHECK(report.reference == 1);
  CHECK(report.noise_is_fitted);
  CHECK(report.exposures[0].measured_ev == Approx(-2.93).margin(0.003));
  CHECK(report.exposures[2].measured_ev == Approx(2.06).margin(0.003));
  CHECK(report.moved_regions == 0);
  for (const MergedExposure& exposure : report.exposures) CHECK_FALSE(exposure.motion);
  int compared = 0;
  for (int patch = 0; patch < test::kWedgePatches; ++patch) {
    const test::PatchMeasure found = test::measure_patch(merged->frame.image, patch);
    CAPTURE(patch, found.light, found.mean, found.deviation);
    // Three standard errors of the mean come on top of the half per cent; they exceed a tenth of it
    // in the darkest patches only.
    const double mean_error = 3 * found.deviation / found.light / std::sqrt(found.pixels);
    CHECK(std::abs(found.mean / found.light - 1) < 0.005 + mean_error);
    // Between 0.88 and 0.96 of white an exposure is used in part: there the optimum is taken
    // without it. The deviation of so many pixels is itself known to 0.05 dB (1 sigma).
    const double snr = found.mean / found.deviation;
    CHECK(20 * std::log10(test::best_snr(found.light, series.how, 0.88) / snr) < 0.5);
    ++compared;
  }
  CHECK(compared == 29);
  // The sensor that took the pictures: 1 / 15000 and (5 / 15000)².
  CHECK(report.noise.shot[1] * 15000 == Approx(1).margin(0.05));
  CHECK(std::sqrt(report.noise.read[1]) * 15000 == Approx(5).margin(0.5));
}

TEST_CASE("Noise that is given is used as it is") {
  CAPTURE(seed());
  const auto series = test::take_wedge({-3, 0}, {-3, 0}, 32, true);
  NoiseModel noise;
  noise.shot.fill(1e-4);
  noise.read.fill(2e-7);
  const auto merged = merge_brackets(series.frames, series.nominal, {.noise = noise});
  REQUIRE(merged);
  CHECK_FALSE(merged->report.noise_is_fitted);
  CHECK(merged->report.noise.shot == noise.shot);
}

TEST_CASE("A lamp that every exposure clips is a note, a window a finding") {
  MergeReport report;
  report.clipped_share = 0.0005;
  CHECK((report.notes().empty() && report.findings().empty()));
  report.clipped_share = 0.004;
  CHECK(report.notes().size() == 1);
  CHECK(report.findings().empty());
  report.clipped_share = 0.02;
  CHECK(report.notes().empty());
  REQUIRE(report.findings().size() == 1);
  CHECK_THAT(report.findings()[0], Catch::Contains("2.00 % of the picture is clipped"));
}
