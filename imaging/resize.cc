#include "imaging/resize.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "base/catmull_rom.h"
#include "base/parallel.h"
#include "imaging/quantise.h"

namespace seamwright {
namespace {

// For each output place of one axis: the source places and their weights.
struct Axis {
  int taps = 0;
  std::vector<int> place;
  std::vector<float> weight;

  Axis(int from, int to, bool wrap) {
    const double step = static_cast<double>(from) / to;
    const double stretch = std::max(step, 1.0);
    taps = 2 * static_cast<int>(std::ceil(2 * stretch));
    for (int i = 0; i < to; ++i) {
      const double centre = (i + 0.5) * step - 0.5;
      const int first = static_cast<int>(std::floor(centre)) - taps / 2 + 1;
      std::vector<double> row;
      double sum = 0;
      for (int t = 0; t < taps; ++t) {
        row.push_back(catmull_rom_weight((first + t - centre) / stretch));
        sum += row.back();
        const int at = first + t;
        place.push_back(wrap ? ((at % from) + from) % from : std::clamp(at, 0, from - 1));
      }
      for (const double w : row) weight.push_back(static_cast<float>(w / sum));
    }
  }
};

struct Held {
  float sum = 0;
  float low = 3e38F;
  float high = -3e38F;
  void add(float value, float weight) {
    sum += weight * value;
    low = std::min(low, value);
    high = std::max(high, value);
  }
  [[nodiscard]] float value() const { return std::clamp(sum, low, high); }
};

// One output row: down the columns first, then along.
template <class T>
void resize_row(const Image& image, const Axis& across, const Axis& down, Image& out, int y,
                std::vector<float>& line) {
  const auto channels = static_cast<std::size_t>(image.channel_count());
  const auto taps = static_cast<std::size_t>(down.taps);
  line.assign(static_cast<std::size_t>(image.width()) * channels, 0.0F);
  std::vector<std::span<const T>> rows;
  for (std::size_t t = 0; t < taps; ++t) {
    rows.push_back(image.row<T>(down.place[static_cast<std::size_t>(y) * taps + t]));
  }
  for (std::size_t i = 0; i < line.size(); ++i) {
    Held held;
    for (std::size_t t = 0; t < taps; ++t) {
      held.add(unit_from_sample<T>(rows[t][i]),
               down.weight[static_cast<std::size_t>(y) * taps + t]);
    }
    line[i] = held.value();
  }
  const auto to = out.row<T>(y);
  const auto across_taps = static_cast<std::size_t>(across.taps);
  for (std::size_t x = 0; x < static_cast<std::size_t>(out.width()); ++x) {
    for (std::size_t c = 0; c < channels; ++c) {
      Held held;
      for (std::size_t t = 0; t < across_taps; ++t) {
        const auto at = static_cast<std::size_t>(across.place[x * across_taps + t]);
        held.add(line[at * channels + c], across.weight[x * across_taps + t]);
      }
      to[x * channels + c] = sample_from_unit<T>(held.value());
    }
  }
}

template <class T>
void resize_all(const Image& image, Image& out, bool wrap) {
  const Axis across(image.width(), out.width(), wrap);
  const Axis down(image.height(), out.height(), false);
  parallel_for(0, out.height(), [&](int y) {
    thread_local std::vector<float> line;
    resize_row<T>(image, across, down, out, y, line);
  });
}

}  // namespace

Image resized(const Image& image, int width, int height, Borders borders) {
  Image out(width, height, image.channels(), image.type());
  out.take_meaning_of(image);
  const bool wrap = borders == Borders::wrap;
  switch (image.type()) {
    case SampleType::u8:
      resize_all<std::uint8_t>(image, out, wrap);
      break;
    case SampleType::u16:
      resize_all<std::uint16_t>(image, out, wrap);
      break;
    case SampleType::f32:
      resize_all<float>(image, out, wrap);
      break;
  }
  return out;
}

}  // namespace seamwright
