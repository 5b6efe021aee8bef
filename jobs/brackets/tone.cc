#include "jobs/brackets/tone.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "base/out_of_range.h"
#include "base/parallel.h"
#include "imaging/icc.h"
#include "imaging/transfer.h"
#include "jobs/brackets/guided.h"
#include "jobs/brackets/light.h"

namespace seamwright {
namespace {

constexpr double kMiddleGrey = 0.22;

// bend · asinh((brightest − straight_to) / bend) = 1 − straight_to, for brightest above 1.
double bend_of(const DisplayCurve& curve) {
  const double left = 1 - curve.straight_to;
  const double above = curve.brightest - curve.straight_to;
  // In t = 1 / bend: asinh(above · t) lies above left · t before the root and below after it.
  double low = 0;
  double high = 1;
  while (std::asinh(above * high) > left * high) high *= 2;
  for (int i = 0; i < 100; ++i) {
    const double middle = 0.5 * (low + high);
    (std::asinh(above * middle) > left * middle ? low : high) = middle;
  }
  return 1 / high;
}

double peak_of(const float* pixel, std::size_t colours) {
  return static_cast<double>(*std::max_element(pixel, pixel + colours));
}

/// Counts of log2 light in steps of 1/32 stop.
class LightHistogram {
 public:
  void add(const Image& image) {
    const auto step = static_cast<std::size_t>(image.channel_count());
    const std::size_t colours = colour_count(image);
    for (int y = 0; y < image.height(); ++y) {
      const auto row = image.row<float>(y);
      for (std::size_t x = 0; x < row.size(); x += step) {
        const double peak = peak_of(&row[x], colours);
        if (!(peak > 0) || !std::isfinite(peak)) continue;
        ++counts_[static_cast<std::size_t>(
            std::clamp((std::log2(peak) + kLowest) * kPerStop, 0.0, kBins - 1.0))];
        total_ += 1;
      }
    }
  }
  [[nodiscard]] bool empty() const { return total_ == 0; }
  /// log2 of the light that this share of the pixels lies below.
  [[nodiscard]] double quantile(double share) const {
    double sum = 0;
    std::size_t bin = 0;
    for (; bin + 1 < counts_.size(); ++bin) {
      sum += counts_[bin];
      if (sum >= share * total_) break;
    }
    return middle_of(bin);
  }
  /// Mean log2 of all light above 2^lowest.
  [[nodiscard]] double mean_above(double lowest) const {
    double sum = 0, count = 0;
    for (std::size_t bin = 0; bin < counts_.size(); ++bin) {
      if (middle_of(bin) < lowest) continue;
      sum += counts_[bin] * middle_of(bin);
      count += counts_[bin];
    }
    return count > 0 ? sum / count : lowest;
  }

 private:
  static constexpr double kLowest = 32;  // stops below 1
  static constexpr double kPerStop = 32;
  static constexpr int kBins = 64 * 32;
  static double middle_of(std::size_t bin) {
    return (static_cast<double>(bin) + 0.5) / kPerStop - kLowest;
  }
  std::array<double, kBins> counts_{};
  double total_ = 0;
};

// What local levelling multiplies each pixel's light by.
FloatPlane levelling(const Image& light, const DisplayOptions& options) {
  const auto step = static_cast<std::size_t>(light.channel_count());
  const std::size_t colours = colour_count(light);
  FloatPlane stops(light.width(), light.height());
  constexpr double kDarkest = -14;  // below the middle grey, stops
  parallel_for(0, light.height(), [&](int y) {
    const auto row = light.row<float>(y);
    auto out = stops.row(y);
    for (std::size_t x = 0; x < out.size(); ++x) {
      const double peak = options.curve.gain * peak_of(&row[x * step], colours) / kMiddleGrey;
      out[x] = static_cast<float>(std::log2(std::max(peak, std::exp2(kDarkest))));
    }
  });
  constexpr double kShareOfSide = 1.0 / 32;
  constexpr double kEdge_stops = 0.7;  // a step larger than this is an edge, not detail
  const int radius =
      std::max(2, static_cast<int>(std::min(light.width(), light.height()) * kShareOfSide));
  const FloatPlane base = guided_smooth(stops, radius, kEdge_stops * kEdge_stops);
  FloatPlane factor(light.width(), light.height());
  const double levelled = 0.6 * options.local;
  std::transform(base.values.begin(), base.values.end(), factor.values.begin(), [&](float ev) {
    return static_cast<float>(std::exp2(-levelled * static_cast<double>(ev)));
  });
  return factor;
}

}  // namespace

std::optional<Error> DisplayCurve::validate() const {
  if (auto error = out_of_range("gain", gain, 1e-6, 1e6)) return error;
  if (auto error = out_of_range("brightest", brightest, 1e-3, 1e9)) return error;
  return out_of_range("straight_to", straight_to, 0.01, 0.9);
}

std::optional<Error> DisplayOptions::validate() const {
  if (auto error = curve.validate()) return error;
  return out_of_range("local", local, 0, 1);
}

DisplayMap::DisplayMap(const DisplayCurve& curve)
    : curve_(curve), bend_(curve.brightest > 1 ? bend_of(curve) : 0) {}

double DisplayMap::operator()(double light) const {
  const double x = curve_.gain * light;
  if (curve_.brightest <= 1) return x > 0 ? std::min(x, 1.0) : 0;
  if (x >= curve_.brightest) return 1;
  if (!(x > curve_.straight_to)) return x > 0 ? x : 0;
  return std::min(1.0, curve_.straight_to + bend_ * std::asinh((x - curve_.straight_to) / bend_));
}

DisplayCurve choose_curve(std::span<const Image* const> pictures) {
  LightHistogram histogram;
  for (const Image* picture : pictures) histogram.add(*picture);
  DisplayCurve curve;
  if (histogram.empty()) return curve;
  constexpr double kWhiteShare = 0.9995;
  constexpr double kSurround_stops = 14;
  constexpr double kMostStops = 4;
  const double brightest = histogram.quantile(kWhiteShare);
  const double mean = histogram.mean_above(brightest - kSurround_stops);
  curve.gain = std::exp2(std::clamp(std::log2(kMiddleGrey) - mean, -kMostStops, kMostStops));
  curve.brightest = std::max(1.0, curve.gain * std::exp2(brightest));
  return curve;
}

DisplayOptions display_options(const ToneWish& wish, std::span<const Image* const> pictures) {
  DisplayOptions display{.curve = choose_curve(pictures), .local = wish.local};
  const double factor = std::exp2(wish.brighter_ev);
  display.curve.gain *= factor;
  display.curve.brightest *= factor;
  return display;
}

Result<Image> for_display(const Image& light, const DisplayOptions& options) {
  if (auto error = options.validate()) return fail(std::move(*error));
  Image shown(light.width(), light.height(), light.channels(), SampleType::u16);
  shown.transfer = Transfer::srgb;
  shown.file = light.file;
  if (!light.icc_profile.empty()) {
    auto profile = with_transfer(light.icc_profile, Transfer::srgb, light.file);
    if (!profile) return tl::unexpected(profile.error());
    shown.icc_profile = std::move(*profile);
  }
  const DisplayMap displayed(options.curve);
  const TransferCurve srgb = TransferCurve::srgb();
  FloatPlane factor;
  if (options.local > 0) factor = levelling(light, options);
  const auto step = static_cast<std::size_t>(light.channel_count());
  const std::size_t colours = colour_count(light);
  parallel_for(0, light.height(), [&](int y) {
    const auto in = light.row<float>(y);
    std::vector<float> out(in.begin(), in.end());
    for (std::size_t x = 0; x < out.size(); x += step) {
      const double levelled =
          factor.values.empty() ? 1.0 : static_cast<double>(factor.row(y)[x / step]);
      const double peak = levelled * peak_of(&out[x], colours);
      const double gain = peak > 0 ? levelled * displayed(peak) / peak : 0;
      for (std::size_t c = 0; c < colours; ++c) {
        out[x + c] = static_cast<float>(gain * std::max(0.0, static_cast<double>(out[x + c])));
      }
    }
    encode_light(shown, srgb, y, out);
  });
  return shown;
}

}  // namespace seamwright
