#include <algorithm>
#include <cmath>

#include <catch2/catch.hpp>

#include "jobs/brackets/merge.h"
#include "jobs/brackets/noise_fit.h"
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
  CHECK(report.noise_source == NoiseSource::fitted);
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
  CHECK(merged->report.noise_source == NoiseSource::given);
  CHECK(merged->report.noise.shot == noise.shot);
}

TEST_CASE("One frame alone shows the noise of its sensor, whichever that is") {
  CAPTURE(seed());
  const bool linear = GENERATE(true, false);
  CAPTURE(linear);
  test::Random random(21);
  // Rounded shades from 0.03 to 0.6, as walls have them.
  const auto shades = [](double u, double v, int) {
    return 0.3 + 0.15 * std::sin(0.02 * u) + 0.12 * std::sin(0.03 * v);
  };
  for (const double full_well_e : {4000.0, 15000.0, 60000.0}) {
    CAPTURE(full_well_e);
    const test::Photograph how{.full_well_e = full_well_e, .read_noise_e = 8, .linear = linear};
    const Frame frame = test::photograph(480, 320, shades, how, random);
    const NoiseModel found =
        noise_of_frame({frame.image, TransferCurve::of(frame.image).value(), 1}, 0.99);
    for (const double signal : {0.1, 0.3, 0.5}) {
      CAPTURE(signal);
      CHECK(found.variance(signal, 1) / test::signal_variance(signal, how) ==
            Approx(1).margin(0.1));
    }
  }
}

TEST_CASE("A drawn frame is as rough as its codes") {
  Image flat(64, 64, Channels::rgb, SampleType::u8);
  for (int y = 0; y < 64; ++y) {
    for (std::uint8_t& code : flat.row<std::uint8_t>(y)) code = 128;
  }
  const NoiseModel found = noise_of_frame({flat, TransferCurve::linear(), 1}, 0.99);
  const double step = 1.0 / (255 * 255 * 12);
  CHECK(found.variance(0, 0) == Approx(step));
  CHECK(found.variance(1, 2) == Approx(step));
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
