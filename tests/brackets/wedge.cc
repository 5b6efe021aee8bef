#include "tests/brackets/wedge.h"

#include <algorithm>
#include <cmath>

namespace seamwright::test {
namespace {

double wedge(double u, double, int channel) {
  const double tint = channel == 0 ? 0.9 : channel == 2 ? 0.8 : 1.0;
  return tint * wedge_light(std::clamp(static_cast<int>(u / kWedgePatch_px), 0, kWedgePatches - 1));
}

}  // namespace

double wedge_light(int patch) {
  constexpr double kBrightest = 6.5;
  return kBrightest * std::exp2(-0.5 * patch);
}

WedgeSeries take_wedge(const std::vector<double>& true_ev, const std::vector<double>& said_ev,
                       int height_px, bool linear) {
  Random random(11);
  WedgeSeries series;
  for (std::size_t i = 0; i < true_ev.size(); ++i) {
    const Photograph how{.exposure = std::exp2(true_ev[i]), .linear = linear};
    series.frames.push_back(
        photograph(kWedgePatch_px * kWedgePatches, height_px, wedge, how, random));
    series.nominal.push_back(std::exp2(said_ev[i]));
    series.how.push_back(how);
  }
  return series;
}

PatchMeasure measure_patch(const Image& image, int patch) {
  constexpr int kRim_px = 4;
  double sum = 0, square = 0, count = 0;
  for (int y = kRim_px; y < image.height() - kRim_px; ++y) {
    const auto row = image.row<float>(y);
    for (int x = patch * kWedgePatch_px + kRim_px; x < (patch + 1) * kWedgePatch_px - kRim_px;
         ++x) {
      const auto value = static_cast<double>(row[static_cast<std::size_t>(3 * x + 1)]);
      sum += value;
      square += value * value;
      ++count;
    }
  }
  const double mean = sum / count;
  return {wedge_light(patch), mean, std::sqrt((square - count * mean * mean) / (count - 1)), count};
}

double best_snr(double light, const std::vector<Photograph>& how, double white) {
  double information = 0;
  for (std::size_t i = 0; i < how.size(); ++i) {
    const double signal = light * how[i].exposure;
    if (i > 0 && signal > white) continue;
    information += how[i].exposure * how[i].exposure / signal_variance(signal, how[i]);
  }
  return light * std::sqrt(information);
}

}  // namespace seamwright::test
