#include "sampling/picture_sampler.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "base/catmull_rom.h"

namespace seamwright {

namespace {

double sinc(double x) { return std::abs(x) < 1e-9 ? 1.0 : std::sin(kPi * x) / (kPi * x); }

double lanczos3(double x) { return std::abs(x) >= 3 ? 0.0 : sinc(x) * sinc(x / 3); }

template <class T>
constexpr float kWhite = 1.0F;
template <>
constexpr float kWhite<std::uint8_t> = 255.0F;
template <>
constexpr float kWhite<std::uint16_t> = 65535.0F;

// The taps of one axis: where the first one lies, and what each weighs.
struct AxisTaps {
  std::array<float, KernelWeights::kMaxTaps> weight;
  int first;
  bool inside;  // no tap lies beyond the border

  AxisTaps(const KernelWeights& kernel, double position, int size) {
    const double x = std::clamp(position - 0.5, -2.0 * KernelWeights::kMaxTaps,
                                size + 2.0 * KernelWeights::kMaxTaps);
    const double floor_x = std::floor(x);
    kernel.at(x - floor_x, weight.data());
    first = static_cast<int>(floor_x) - kernel.taps() / 2 + 1;
    inside = first >= 0 && first + kernel.taps() <= size;
  }
};

// Sum, lowest and highest of what one channel's taps hold.
struct TapSum {
  float sum = 0;
  float low = std::numeric_limits<float>::max();
  float high = std::numeric_limits<float>::lowest();

  void add_row(const TapSum& row, float weight) {
    sum += weight * row.sum;
    low = std::min(low, row.low);
    high = std::max(high, row.high);
  }
  void add(float value, float weight) {
    sum += weight * value;
    low = std::min(low, value);
    high = std::max(high, value);
  }
  [[nodiscard]] float held() const { return std::clamp(sum, low, high); }
};

// The separable sum over kTaps × kTaps samples (kTaps 0: as many as the kernel says) of kColours
// neighbouring channels, each held within the range of its samples. `column(i)` and `row(j)` give
// the places of taps.
template <class T, int kTaps, int kColours, class Column, class Row>
void weigh(const AxisTaps& across, const AxisTaps& down, int taps, const Column& column,
           const Row& row, float* values) {
  const int count = kTaps > 0 ? kTaps : taps;
  std::array<TapSum, kColours> total;
  for (int j = 0; j < count; ++j) {
    const T* samples = row(j);
    std::array<TapSum, kColours> line;
    for (int i = 0; i < count; ++i) {
      const T* pixel = samples + column(i);
      for (std::size_t c = 0; c < kColours; ++c) {
        line[c].add(static_cast<float>(pixel[c]), across.weight[static_cast<std::size_t>(i)]);
      }
    }
    for (std::size_t c = 0; c < kColours; ++c) {
      total[c].add_row(line[c], down.weight[static_cast<std::size_t>(j)]);
    }
  }
  for (std::size_t c = 0; c < kColours; ++c) values[c] = total[c].held() / kWhite<T>;
}

template <class T, int kTaps, int kColours>
void sample_with(const PictureSampler::Raster& raster, const AxisTaps& across, const AxisTaps& down,
                 int taps, int first_channel, float* values) {
  const T* origin = reinterpret_cast<const T*>(raster.samples) + first_channel;
  const std::ptrdiff_t pixel = raster.channels;
  const std::ptrdiff_t pitch = pixel * raster.width;
  if (across.inside && down.inside) {
    const T* corner = origin + down.first * pitch + across.first * pixel;
    return weigh<T, kTaps, kColours>(
        across, down, taps, [&](int i) { return i * pixel; },
        [&](int j) { return corner + j * pitch; }, values);
  }
  weigh<T, kTaps, kColours>(
      across, down, taps,
      [&](int i) { return std::clamp(across.first + i, 0, raster.width - 1) * pixel; },
      [&](int j) { return origin + std::clamp(down.first + j, 0, raster.height - 1) * pitch; },
      values);
}

template <class T, int kColours>
void sample_as(const PictureSampler::Raster& raster, const KernelWeights& kernel, const Vec2& px,
               int first_channel, float* values) {
  const AxisTaps across(kernel, px.x(), raster.width);
  const AxisTaps down(kernel, px.y(), raster.height);
  const int taps = kernel.taps();
  switch (taps) {
    case 4:
      return sample_with<T, 4, kColours>(raster, across, down, taps, first_channel, values);
    case 6:
      return sample_with<T, 6, kColours>(raster, across, down, taps, first_channel, values);
    default:
      return sample_with<T, 0, kColours>(raster, across, down, taps, first_channel, values);
  }
}

template <int kColours>
void sample_colours(const PictureSampler::Raster& raster, const KernelWeights& kernel,
                    const Vec2& px, int first_channel, float* values) {
  switch (raster.type) {
    case SampleType::u8:
      return sample_as<std::uint8_t, kColours>(raster, kernel, px, first_channel, values);
    case SampleType::u16:
      return sample_as<std::uint16_t, kColours>(raster, kernel, px, first_channel, values);
    case SampleType::f32:
      return sample_as<float, kColours>(raster, kernel, px, first_channel, values);
  }
}

}  // namespace

KernelWeights::KernelWeights(ResampleKernel kernel, double stretch) {
  const double reach = kernel == ResampleKernel::catmull_rom ? 2.0 : 3.0;
  // A hair above 1 is rounding of the output size, not a smaller picture.
  if (!(stretch > 1.02)) stretch = 1.0;
  stretch = std::min(stretch, kMaxTaps / (2 * reach));
  taps_ = 2 * static_cast<int>(std::ceil(reach * stretch));
  catmull_rom_ = kernel == ResampleKernel::catmull_rom && stretch == 1.0;
  const auto width = static_cast<std::size_t>(taps_);
  table_.resize((kPhases + 1) * width);
  std::vector<double> row(width);
  for (std::size_t phase = 0; phase <= kPhases; ++phase) {
    double sum = 0;
    for (std::size_t tap = 0; tap < width; ++tap) {
      const int offset = static_cast<int>(tap) - (taps_ / 2 - 1);
      const double distance = offset - static_cast<double>(phase) / kPhases;
      const double x = distance / stretch;
      row[tap] = kernel == ResampleKernel::catmull_rom ? catmull_rom_weight(x) : lanczos3(x);
      sum += row[tap];
    }
    for (std::size_t tap = 0; tap < width; ++tap) {
      table_[phase * width + tap] = static_cast<float>(row[tap] / sum);
    }
  }
}

PictureSampler::PictureSampler(const Image& image, const KernelWeights& kernel)
    : raster_{.samples = image.bytes().data(),
              .type = image.type(),
              .width = image.width(),
              .height = image.height(),
              .channels = image.channel_count()},
      kernel_(&kernel),
      colours_(image.channel_count() - (has_alpha(image.channels()) ? 1 : 0)) {}

void PictureSampler::sample(const Vec2& px, float* values) const {
  if (colours_ == 3) return sample_colours<3>(raster_, *kernel_, px, 0, values);
  sample_colours<1>(raster_, *kernel_, px, 0, values);
}

float PictureSampler::sample(const Vec2& px, int colour) const {
  float value = 0;
  sample_colours<1>(raster_, *kernel_, px, colour, &value);
  return value;
}

}  // namespace seamwright
