#include "jobs/brackets/consistency.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "base/parallel.h"
#include "jobs/brackets/connected.h"
#include "jobs/brackets/light.h"
#include "jobs/brackets/plane.h"
#include "jobs/brackets/usable.h"

namespace seamwright {
namespace {

constexpr int kRadius = 2;
constexpr double kWindow = (2 * kRadius + 1) * (2 * kRadius + 1);
constexpr double kMeanSigmas = 5.5;
constexpr double kSquareSigmas = 6;
constexpr int kSmallestSpeck_px = 9;

/// Per pixel and channel: the difference of light (in the longer frame's signal), the variance that
/// noise explains, what systematic errors may add.
struct Differences {
  std::vector<FloatPlane> difference;
  std::vector<FloatPlane> noise;
  std::vector<FloatPlane> systematic;
  FloatPlane square;  ///< mean over the channels of difference² over expected variance
  FloatPlane counts;  ///< 1 where compared
  FloatPlane reach;   ///< largest light of the shorter frame within the kernel's reach
};

Differences room(const Image& image, std::size_t colours) {
  const FloatPlane plane(image.width(), image.height());
  return {.difference = std::vector<FloatPlane>(colours, plane),
          .noise = std::vector<FloatPlane>(colours, plane),
          .systematic = std::vector<FloatPlane>(colours, plane),
          .square = plane,
          .counts = plane,
          .reach = {}};
}

/// Three rows of light around one, the border repeated.
class RowWindow {
 public:
  RowWindow(const Exposed& frame, int y) {
    for (int k = -1; k <= 1; ++k) {
      auto& row = rows_[static_cast<std::size_t>(k + 1)];
      row = light_row(frame.image);
      decode_light(frame.image, frame.curve, std::clamp(y + k, 0, frame.image.height() - 1), row);
    }
  }
  [[nodiscard]] float at(std::size_t sample) const { return rows_[1][sample]; }
  [[nodiscard]] const float* pixel(std::size_t sample) const { return &rows_[1][sample]; }
  /// Largest change of light towards a neighbour, per pixel.
  [[nodiscard]] double slope(std::size_t x, std::size_t width, std::size_t step,
                             std::size_t channel) const {
    const std::size_t here = x * step + channel;
    const std::size_t left = x > 0 ? here - step : here;
    const std::size_t right = x + 1 < width ? here + step : here;
    const auto across = 0.5 * static_cast<double>(rows_[1][right] - rows_[1][left]);
    const auto down = 0.5 * static_cast<double>(rows_[2][here] - rows_[0][here]);
    return std::hypot(across, down);
  }

 private:
  std::array<std::vector<float>, 3> rows_;
};

bool is_clipped(const float* pixel, std::size_t colours, double clip_level) {
  return static_cast<double>(*std::max_element(pixel, pixel + colours)) >= clip_level;
}

void compare_row(const Exposed& shorter, const Exposed& longer, const NoiseModel& noise,
                 const ConsistencyOptions& options, int y, Differences& out) {
  const Image& image = shorter.image;
  const auto step = static_cast<std::size_t>(image.channel_count());
  const auto width = static_cast<std::size_t>(image.width());
  const std::size_t colours = out.difference.size();
  const RowWindow short_rows(shorter, y);
  const RowWindow long_rows(longer, y);
  const double ratio = longer.exposure / shorter.exposure;
  for (std::size_t x = 0; x < width; ++x) {
    const int column = static_cast<int>(x);
    if (!shorter.extent.holds(column, y) || !longer.extent.holds(column, y) ||
        is_clipped(short_rows.pixel(x * step), colours, options.clip_level)) {
      continue;
    }
    const bool long_clipped = is_clipped(long_rows.pixel(x * step), colours, options.clip_level);
    out.counts.row(y)[x] = 1;
    double square = 0;
    for (std::size_t c = 0; c < colours; ++c) {
      auto s = static_cast<double>(short_rows.at(x * step + c)) * ratio;
      auto l = static_cast<double>(long_rows.at(x * step + c));
      // A clipped pixel, or one that a clipped one reaches, only says: so much light at least.
      if (long_clipped) {
        s = std::min(options.clip_level, ratio * static_cast<double>(out.reach.row(y)[x]));
        l = options.clip_level;
      }
      const double difference = s - l;
      // At the larger signal: a value that came out low must not claim to be the surer for it.
      const double signal = std::max(s, l);
      const double own_noise =
          noise.variance(signal / ratio, c) * ratio * ratio + noise.variance(signal, c);
      const double slope =
          std::max(ratio * short_rows.slope(x, width, step, c), long_rows.slope(x, width, step, c));
      const double systematic =
          std::pow(options.gain_error * signal, 2) + std::pow(options.misalignment_px * slope, 2);
      out.difference[c].row(y)[x] = static_cast<float>(difference);
      out.noise[c].row(y)[x] = static_cast<float>(own_noise);
      out.systematic[c].row(y)[x] = static_cast<float>(systematic);
      square += difference * difference / (own_noise + systematic);
    }
    out.square.row(y)[x] = static_cast<float>(square / static_cast<double>(colours));
  }
}

// Where any statistic over the window is beyond its bound. Window means are over all 25 pixels:
// pixels not compared hold zeros.
Mask beyond_bounds(const Differences& d) {
  const std::size_t colours = d.difference.size();
  const FloatPlane counts = box_mean(d.counts, kRadius);
  const FloatPlane square = box_mean(d.square, kRadius);
  Mask mask(counts.width, counts.height);
  const double spread = std::sqrt(2 / (kWindow * static_cast<double>(colours)));
  for (std::size_t i = 0; i < mask.values.size(); ++i) {
    const auto compared = static_cast<double>(counts.values[i]);
    const bool far = static_cast<double>(square.values[i]) >
                     compared + kSquareSigmas * spread * std::sqrt(compared);
    mask.values[i] = compared > 0 && far ? 255 : 0;
  }
  for (std::size_t c = 0; c < colours; ++c) {
    const FloatPlane difference = box_mean(d.difference[c], kRadius);
    const FloatPlane noise = box_mean(d.noise[c], kRadius);
    const FloatPlane systematic = box_mean(d.systematic[c], kRadius);
    for (std::size_t i = 0; i < mask.values.size(); ++i) {
      const auto mean = static_cast<double>(difference.values[i]);
      const double variance = static_cast<double>(noise.values[i]) / kWindow +
                              static_cast<double>(systematic.values[i]);
      if (mean * mean > kMeanSigmas * kMeanSigmas * variance) mask.values[i] = 255;
    }
  }
  return mask;
}

}  // namespace

Mask inconsistent_pixels(const Exposed& shorter, const Exposed& longer, const NoiseModel& noise,
                         const ConsistencyOptions& options) {
  Differences differences = room(shorter.image, colour_count(shorter.image));
  differences.reach = grown(peak_plane(shorter), kRadius);
  parallel_for(0, shorter.image.height(),
               [&](int y) { compare_row(shorter, longer, noise, options, y, differences); });
  Mask mask = beyond_bounds(differences);
  const Regions regions = connected_regions(mask);
  for (std::size_t i = 0; i < mask.values.size(); ++i) {
    const int label = regions.label.values[i];
    if (label > 0 && regions.size_px[static_cast<std::size_t>(label)] < kSmallestSpeck_px) {
      mask.values[i] = 0;
    }
  }
  return mask;
}

}  // namespace seamwright
