#include "compose/resample.h"

#include <algorithm>
#include <cmath>

namespace seamwright {

namespace {

constexpr int kPhases = 1024;

double catmull_rom(double x) {
  x = std::abs(x);
  if (x >= 2) return 0;
  return x < 1 ? 1 + x * x * (1.5 * x - 2.5) : 2 + x * (-4 + x * (2.5 - 0.5 * x));
}

double sinc(double x) { return std::abs(x) < 1e-9 ? 1.0 : std::sin(kPi * x) / (kPi * x); }

double lanczos3(double x) { return std::abs(x) >= 3 ? 0.0 : sinc(x) * sinc(x / 3); }

template <class T>
constexpr float kWhite = 1.0F;
template <>
constexpr float kWhite<std::uint8_t> = 255.0F;
template <>
constexpr float kWhite<std::uint16_t> = 65535.0F;

// Where the taps of one axis lie and what they weigh.
struct AxisTaps {
  std::array<float, KernelWeights::kMaxTaps> weight;
  std::array<int, KernelWeights::kMaxTaps> index;

  AxisTaps(const KernelWeights& kernel, double position, int size, int stride) {
    const double x = position - 0.5;
    const double floor_x = std::floor(x);
    kernel.at(x - floor_x, weight.data());
    const int first = static_cast<int>(floor_x) - kernel.taps() / 2 + 1;
    for (int i = 0; i < kernel.taps(); ++i) {
      index[static_cast<std::size_t>(i)] = std::clamp(first + i, 0, size - 1) * stride;
    }
  }
};

// The separable sum over kTaps × kTaps samples (kTaps 0: as many as the kernel says) of kColours
// neighbouring channels, each held within the range of its samples.
template <class T, int kTaps, int kColours>
void weigh(const Image& image, const AxisTaps& across, const AxisTaps& down, int taps,
           int first_channel, float* values) {
  const std::size_t count = static_cast<std::size_t>(kTaps > 0 ? kTaps : taps);
  std::array<float, kColours> sum{};
  std::array<float, kColours> low;
  std::array<float, kColours> high;
  low.fill(std::numeric_limits<float>::max());
  high.fill(std::numeric_limits<float>::lowest());
  for (std::size_t j = 0; j < count; ++j) {
    const T* row = image.row<T>(down.index[j]).data() + first_channel;
    std::array<float, kColours> row_sum{};
    for (std::size_t i = 0; i < count; ++i) {
      for (std::size_t c = 0; c < kColours; ++c) {
        const float value = static_cast<float>(row[static_cast<std::size_t>(across.index[i]) + c]);
        row_sum[c] += across.weight[i] * value;
        low[c] = std::min(low[c], value);
        high[c] = std::max(high[c], value);
      }
    }
    for (std::size_t c = 0; c < kColours; ++c) sum[c] += down.weight[j] * row_sum[c];
  }
  for (std::size_t c = 0; c < kColours; ++c) {
    values[c] = std::clamp(sum[c], low[c], high[c]) / kWhite<T>;
  }
}

template <class T, int kColours>
void sample_as(const Image& image, const KernelWeights& kernel, const Vec2& px, int first_channel,
               float* values) {
  const AxisTaps across(kernel, px.x(), image.width(), image.channel_count());
  const AxisTaps down(kernel, px.y(), image.height(), 1);
  const int taps = kernel.taps();
  switch (taps) {
    case 4:
      return weigh<T, 4, kColours>(image, across, down, taps, first_channel, values);
    case 6:
      return weigh<T, 6, kColours>(image, across, down, taps, first_channel, values);
    default:
      return weigh<T, 0, kColours>(image, across, down, taps, first_channel, values);
  }
}

template <int kColours>
void sample_colours(const Image& image, const KernelWeights& kernel, const Vec2& px,
                    int first_channel, float* values) {
  switch (image.type()) {
    case SampleType::u8:
      return sample_as<std::uint8_t, kColours>(image, kernel, px, first_channel, values);
    case SampleType::u16:
      return sample_as<std::uint16_t, kColours>(image, kernel, px, first_channel, values);
    case SampleType::f32:
      return sample_as<float, kColours>(image, kernel, px, first_channel, values);
  }
}

}  // namespace

KernelWeights::KernelWeights(ResampleKernel kernel, double stretch) {
  const double reach = kernel == ResampleKernel::catmull_rom ? 2.0 : 3.0;
  // A hair above 1 is rounding of the output size, not a smaller picture.
  if (!(stretch > 1.02)) stretch = 1.0;
  stretch = std::min(stretch, kMaxTaps / (2 * reach));
  taps_ = 2 * static_cast<int>(std::ceil(reach * stretch));
  const auto width = static_cast<std::size_t>(taps_);
  table_.resize((kPhases + 1) * width);
  std::vector<double> row(width);
  for (std::size_t phase = 0; phase <= kPhases; ++phase) {
    double sum = 0;
    for (std::size_t tap = 0; tap < width; ++tap) {
      const double distance =
          static_cast<double>(tap) - (taps_ / 2 - 1) - static_cast<double>(phase) / kPhases;
      const double x = distance / stretch;
      row[tap] = kernel == ResampleKernel::catmull_rom ? catmull_rom(x) : lanczos3(x);
      sum += row[tap];
    }
    for (std::size_t tap = 0; tap < width; ++tap) {
      table_[phase * width + tap] = static_cast<float>(row[tap] / sum);
    }
  }
}

void KernelWeights::at(double fraction, float* weights) const {
  const double position = fraction * kPhases;
  const auto phase = std::min(static_cast<std::size_t>(position), std::size_t{kPhases - 1});
  const float t = static_cast<float>(position - static_cast<double>(phase));
  const auto width = static_cast<std::size_t>(taps_);
  const float* low = table_.data() + phase * width;
  const float* high = low + width;
  for (std::size_t i = 0; i < width; ++i) weights[i] = low[i] + t * (high[i] - low[i]);
}

PictureSampler::PictureSampler(const Image& image, const KernelWeights& kernel)
    : image_(&image),
      kernel_(&kernel),
      colours_(image.channel_count() - (has_alpha(image.channels()) ? 1 : 0)) {}

void PictureSampler::sample(const Vec2& px, float* values) const {
  if (colours_ == 3) return sample_colours<3>(*image_, *kernel_, px, 0, values);
  sample_colours<1>(*image_, *kernel_, px, 0, values);
}

float PictureSampler::sample(const Vec2& px, int colour) const {
  float value = 0;
  sample_colours<1>(*image_, *kernel_, px, colour, &value);
  return value;
}

}  // namespace seamwright
