#include "jobs/look/finished.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "base/parallel.h"
#include "imaging/icc.h"
#include "imaging/transfer.h"
#include "jobs/brackets/light.h"
#include "jobs/look/smooth_base.h"

namespace seamwright {

namespace {

/// One pixel's colours, grey three times.
using PixelLight = std::array<double, 3>;

constexpr int kMostColumns = 1024;         ///< of the raster that the base is fitted on
constexpr double kBlackest_ev = -14;       ///< below the shown level
constexpr double kRadiusShare = 1.0 / 40;  ///< of the raster's height
constexpr double kEdge_ev = 0.6;           ///< a step larger than this is an edge, not detail
constexpr double kCorner_ev = 1;           ///< the corner where windows begin reaches so far
constexpr double kWhiteShare = 0.9995;
/// Where a frame's channel is full, its colour is not known; from here on that begins to count.
constexpr double kFullFrom = 0.8;

double peak_of(const PixelLight& light) { return std::max({light[0], light[1], light[2]}); }

double smooth_step(double from, double to, double x) {
  const double t = std::clamp((x - from) / (to - from), 0.0, 1.0);
  return t * t * (3 - 2 * t);
}

// max(0, x) with a round corner: its slope is a smooth step over ± kCorner_ev.
double above_corner(double x) {
  if (x <= -kCorner_ev) return 0;
  if (x >= kCorner_ev) return x;
  const double t = (x + kCorner_ev) / (2 * kCorner_ev);
  return 2 * kCorner_ev * (t * t * t - 0.5 * t * t * t * t);
}

PixelLight pixel_of(const float* samples, std::size_t colours) {
  PixelLight light{};
  for (std::size_t c = 0; c < 3; ++c) {
    light[c] = std::max(0.0, static_cast<double>(samples[colours == 1 ? 0 : c]));
  }
  return light;
}

PixelLight times(const PixelLight& light, const PixelLight& factors) {
  return {light[0] * factors[0], light[1] * factors[1], light[2] * factors[2]};
}

/// How far the base is levelled, in stops above the shown level.
class Levelling {
 public:
  Levelling(const FinishCurve& curve, double local) : curve_(curve), slope_(1 - 0.6 * local) {}

  /// What is added to a pixel whose base this is.
  [[nodiscard]] double operator()(double base_ev) const {
    const double above = above_corner(base_ev - curve_.windows_from_ev);
    return slope_ * (base_ev - (1 - curve_.windows_slope) * above) - base_ev;
  }

 private:
  FinishCurve curve_;
  double slope_;
};

// What the contrast of middle tones adds at so many stops above the shown level.
double contrast_at(const FinishCurve& curve, double stops) {
  constexpr double kDarkEnd_ev = -0.75;
  constexpr double kBrightEnd_ev = 1.25;
  return curve.contrast_ev * (smooth_step(kDarkEnd_ev, kBrightEnd_ev, stops) -
                              smooth_step(kDarkEnd_ev, kBrightEnd_ev, 0));
}

/// A panorama reduced by whole pixels: mean and largest stops of each block.
struct SmallStops {
  int factor = 1;
  FloatPlane mean;
  FloatPlane most;
};

double stops_of(double peak) {
  return peak > 0 ? std::max(std::log2(peak) - kShownLevel_ev, kBlackest_ev) : kBlackest_ev;
}

SmallStops small_stops(const Image& light, const PixelLight& factors) {
  SmallStops small;
  small.factor = (light.width() + kMostColumns - 1) / kMostColumns;
  const int columns = (light.width() + small.factor - 1) / small.factor;
  const int rows = (light.height() + small.factor - 1) / small.factor;
  small.mean = FloatPlane(columns, rows);
  small.most = FloatPlane(columns, rows, static_cast<float>(kBlackest_ev));
  const auto step = static_cast<std::size_t>(light.channel_count());
  const std::size_t colours = colour_count(light);
  parallel_for(0, rows, [&](int row) {
    auto mean = small.mean.row(row);
    auto most = small.most.row(row);
    std::vector<int> counts(mean.size());
    const int end = std::min(light.height(), (row + 1) * small.factor);
    for (int y = row * small.factor; y < end; ++y) {
      const auto in = light.row<float>(y);
      for (std::size_t x = 0; x * step < in.size(); ++x) {
        const auto stops =
            static_cast<float>(stops_of(peak_of(times(pixel_of(&in[x * step], colours), factors))));
        const std::size_t at = x / static_cast<std::size_t>(small.factor);
        mean[at] += stops;
        most[at] = std::max(most[at], stops);
        ++counts[at];
      }
    }
    for (std::size_t i = 0; i < mean.size(); ++i) mean[i] /= static_cast<float>(counts[i]);
  });
  return small;
}

SmoothBase base_of(const SmallStops& small) {
  const int radius = std::max(2, static_cast<int>(small.mean.height * kRadiusShare));
  return {small.mean, radius, kEdge_ev * kEdge_ev};
}

// The light that is shown as white, levelled.
double brightest_of(const SmallStops& small, const SmoothBase& base, const Levelling& levelling,
                    const FinishCurve& curve) {
  std::vector<double> levels;
  levels.reserve(small.most.values.size());
  for (int y = 0; y < small.most.height; ++y) {
    for (int x = 0; x < small.most.width; ++x) {
      const auto stops = static_cast<double>(small.most.at(x, y));
      const double base_ev = base.at(x + 0.5, y + 0.5, stops);
      const double added_ev = levelling(base_ev);
      levels.push_back(stops + added_ev + contrast_at(curve, base_ev + added_ev));
    }
  }
  const auto at = static_cast<std::ptrdiff_t>(kWhiteShare * static_cast<double>(levels.size() - 1));
  std::nth_element(levels.begin(), levels.begin() + at, levels.end());
  return std::exp2(levels[static_cast<std::size_t>(at)] + kShownLevel_ev);
}

// Steps 3 and 4: display light of a pixel whose factors and base are in `light`.
PixelLight shown_light(const PixelLight& light, double levelled_peak, const DisplayMap& map,
                       const FinishCurve& curve) {
  const double peak = peak_of(light);
  if (!(peak > 0)) return {0, 0, 0};
  const double shown = map(levelled_peak);
  const double pale = curve.paled * smooth_step(curve.pale_from, 1, shown);
  PixelLight out{};
  for (std::size_t c = 0; c < 3; ++c) {
    const double colour = light[c] / peak;
    out[c] = shown * (colour + pale * (1 - colour));
  }
  return out;
}

void put_pixel(const PixelLight& light, std::size_t colours, float* samples) {
  for (std::size_t c = 0; c < colours; ++c) samples[c] = static_cast<float>(light[c]);
}

PixelLight grey_or(const PixelLight& factors, std::size_t colours, double gain_ev) {
  if (colours > 1) return factors;
  const double gain = std::exp2(gain_ev);
  return {gain, gain, gain};
}

Result<Image> like_for_display(const Image& light) {
  Image shown(light.width(), light.height(), light.channels(), SampleType::u16);
  shown.transfer = Transfer::srgb;
  shown.file = light.file;
  if (light.icc_profile.empty()) return shown;
  auto profile = with_transfer(light.icc_profile, Transfer::srgb, light.file);
  if (!profile) return tl::unexpected(profile.error());
  shown.icc_profile = std::move(*profile);
  return shown;
}

}  // namespace

Result<Image> finished_light(const Image& light, const DisplayLook& look, const ToneWish& tone,
                             const FinishCurve& curve) {
  auto shown = like_for_display(light);
  if (!shown) return shown;
  const auto step = static_cast<std::size_t>(light.channel_count());
  const std::size_t colours = colour_count(light);
  DisplayLook wished = look;
  wished.gain_ev += tone.brighter_ev;
  const PixelLight factors = grey_or(factors_of(wished), colours, wished.gain_ev);
  const SmallStops small = small_stops(light, factors);
  const SmoothBase base = base_of(small);
  const Levelling levelling(curve, tone.local);
  const DisplayMap map(
      {.gain = 1,
       .brightest = std::max(1.0, curve.headroom * brightest_of(small, base, levelling, curve)),
       .straight_to = curve.straight_to});
  const TransferCurve srgb = TransferCurve::srgb();
  parallel_for(0, light.height(), [&](int y) {
    const auto in = light.row<float>(y);
    std::vector<float> out(in.begin(), in.end());
    for (std::size_t x = 0; x * step < out.size(); ++x) {
      const PixelLight pixel = times(pixel_of(&in[x * step], colours), factors);
      const double stops = stops_of(peak_of(pixel));
      const double base_ev =
          base.at((static_cast<double>(x) + 0.5) / small.factor, (y + 0.5) / small.factor, stops);
      const double added_ev = levelling(base_ev);
      const double peak =
          peak_of(pixel) * std::exp2(added_ev + contrast_at(curve, base_ev + added_ev));
      put_pixel(shown_light(pixel, peak, map, curve), colours, &out[x * step]);
    }
    encode_light(*shown, srgb, y, out);
  });
  return shown;
}

double safe_slope(double from, double to) { return to * (1 - from) / (from * (1 - to)); }

Result<void> finish_frames(Image& picture, const DisplayLook& look) {
  const auto curve = TransferCurve::of(picture);
  if (!curve) return tl::unexpected(curve.error());
  const auto step = static_cast<std::size_t>(picture.channel_count());
  const std::size_t colours = colour_count(picture);
  DisplayLook white = look;
  white.gain_ev = 0;
  PixelLight factors = grey_or(factors_of(white), colours, 0);
  const double most = peak_of(factors);
  for (double& factor : factors) factor /= most;
  constexpr double kLeast = 1.0 / 1024;
  const double level = std::clamp(std::exp2(look.level_ev), kLeast, 0.9);
  const double slope =
      safe_slope(level / most, std::clamp(level * std::exp2(look.gain_ev), kLeast, 0.95));
  parallel_for(0, picture.height(), [&](int y) {
    std::vector<float> row = light_row(picture);
    decode_light(picture, *curve, y, row);
    for (std::size_t x = 0; x * step < row.size(); ++x) {
      const PixelLight as_is = pixel_of(&row[x * step], colours);
      const double full = smooth_step(kFullFrom, 1, peak_of(as_is));
      PixelLight pixel{};
      for (std::size_t c = 0; c < 3; ++c)
        pixel[c] = as_is[c] * (factors[c] + full * (1 - factors[c]));
      const double peak = peak_of(pixel);
      if (!(peak > 0)) continue;
      const double shown = peak < 1 ? slope * peak / ((slope - 1) * peak + 1) : 1;
      put_pixel({shown * pixel[0] / peak, shown * pixel[1] / peak, shown * pixel[2] / peak},
                colours, &row[x * step]);
    }
    encode_light(picture, *curve, y, row);
  });
  return {};
}

}  // namespace seamwright
