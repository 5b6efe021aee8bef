#include <algorithm>
#include <cmath>

#include <catch2/catch.hpp>

#include "base/parallel.h"
#include "brackets/merge.h"
#include "tests/brackets/synthetic_brackets.h"

using namespace seamwright;
using test::Photograph;
using test::Random;
using test::seed;

namespace {

constexpr int kStrip_px = 24;  // width of one patch of even light
constexpr int kPatches = 29;   // half a stop apart: 14 stops
constexpr double kBrightest = 6.5;

double patch_light(int patch) { return kBrightest * std::exp2(-0.5 * patch); }

// Even patches from just below the shortest exposure's white to 14 stops below it.
double wedge(double u, double, int channel) {
  const double tint = channel == 0 ? 0.9 : channel == 2 ? 0.8 : 1.0;
  return tint * patch_light(std::clamp(static_cast<int>(u / kStrip_px), 0, kPatches - 1));
}

struct PatchMeasure {
  double light = 0;
  double mean = 0;
  double deviation = 0;
};

// Green of a patch's inside.
PatchMeasure measure(const Image& image, int patch) {
  double sum = 0, square = 0, count = 0;
  for (int y = 4; y < image.height() - 4; ++y) {
    const auto row = image.row<float>(y);
    for (int x = patch * kStrip_px + 4; x < (patch + 1) * kStrip_px - 4; ++x) {
      const auto value = static_cast<double>(row[static_cast<std::size_t>(3 * x + 1)]);
      sum += value;
      square += value * value;
      ++count;
    }
  }
  const double mean = sum / count;
  return {patch_light(patch), mean, std::sqrt((square - count * mean * mean) / (count - 1))};
}

struct Series {
  std::vector<Frame> frames;
  std::vector<double> nominal;
  std::vector<Photograph> how;
};

// −3, 0 and +2 EV as EXIF says it; the shutter really gives what `true_ev` says.
Series take_wedge(const std::vector<double>& true_ev, const std::vector<double>& said_ev,
                  int height_px, bool linear) {
  Random random(11);
  Series series;
  for (std::size_t i = 0; i < true_ev.size(); ++i) {
    const Photograph how{.exposure = std::exp2(true_ev[i]), .linear = linear};
    series.frames.push_back(test::photograph(kStrip_px * kPatches, height_px, wedge, how, random));
    series.nominal.push_back(std::exp2(said_ev[i]));
    series.how.push_back(how);
  }
  return series;
}

// Signal-to-noise ratio of the best combination: every unclipped exposure with weight
// exposure² / variance (Hasinoff, Durand, Freeman 2010, section 3). Exposures above 0.96 of white
// count as clipped, as the merge does it; between 0.88 and 0.96 it may go either way.
double best_snr(double light, const std::vector<Photograph>& how, double white) {
  double information = 0;
  for (std::size_t i = 0; i < how.size(); ++i) {
    const double signal = light * how[i].exposure;
    if (i > 0 && signal > white) continue;
    information += how[i].exposure * how[i].exposure / test::signal_variance(signal, how[i]);
  }
  return light * std::sqrt(information);
}

}  // namespace

TEST_CASE("A merge is linear over 14 stops and as quiet as can be") {
  CAPTURE(seed());
  const bool linear = GENERATE(true, false);
  CAPTURE(linear);
  // The shutter is off by up to a tenth of a stop from what EXIF says.
  Series series = take_wedge({-2.93, 0, 2.06}, {-3, 0, 2}, 420, linear);
  const auto merged = merge_brackets(series.frames, series.nominal);
  REQUIRE(merged);
  const MergeReport& report = merged->report;
  CHECK(report.reference == 1);
  CHECK(report.noise_is_fitted);
  CHECK(report.exposures[0].measured_ev == Approx(-2.93).margin(0.003));
  CHECK(report.exposures[2].measured_ev == Approx(2.06).margin(0.003));
  CHECK(report.moved_regions == 0);
  for (const auto& e : report.exposures) CHECK_FALSE(e.motion);
  int compared = 0;
  double worst_linearity = 0, worst_loss_db = 0;
  for (int patch = 0; patch < kPatches; ++patch) {
    const PatchMeasure found = measure(merged->frame.image, patch);
    CAPTURE(patch, found.light, found.mean, found.deviation);
    const double pixels = (kStrip_px - 8) * (420 - 8);
    // What the noise of the mean allows, beyond the half per cent.
    const double mean_error = 3 * found.deviation / found.light / std::sqrt(pixels);
    CHECK(std::abs(found.mean / found.light - 1) < 0.005 + mean_error);
    worst_linearity = std::max(worst_linearity, std::abs(found.mean / found.light - 1));
    const double snr = found.mean / found.deviation;
    const double loss_db = 20 * std::log10(best_snr(found.light, series.how, 0.88) / snr);
    worst_loss_db = std::max(worst_loss_db, loss_db);
    // The deviation of this many pixels is itself known to 0.05 dB (1 sigma).
    CHECK(loss_db < 0.5);
    ++compared;
  }
  CHECK(compared == 29);
  INFO("worst deviation from linear " << worst_linearity << ", worst loss " << worst_loss_db
                                      << " dB");
  // The sensor that took the pictures: 1 / 15000 and (5 / 15000)².
  CHECK(report.noise.shot[1] * 15000 == Approx(1).margin(0.05));
  CHECK(std::sqrt(report.noise.read[1]) * 15000 == Approx(5).margin(0.5));
}
