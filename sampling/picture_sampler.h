#pragma once

// One picture, read between its pixels.
//
// Interpolation happens on the code values as they stand in the file, not on light. Beside a window
// a hundred times brighter than the wall a kernel's negative lobe takes a share of the
// *difference*: in light that share is larger than the wall's own brightness and leaves a black
// line, in code values it is a few per cent. A slope of code values stays exact either way
// (Catmull–Rom repeats polynomials up to degree 2). What ringing remains is cut: a result never
// leaves the range of the samples it was made from.

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "imaging/image.h"
#include "projection/conventions.h"

namespace seamwright {

enum class ResampleKernel : std::uint8_t {
  catmull_rom,  ///< Keys 1981 cubic with a = −½: 4 × 4 samples, one weak negative lobe
  lanczos3,     ///< windowed sinc: 6 × 6 samples, a little sharper, rings at hard edges
};

/// Tap weights of a separable kernel, tabulated finely enough for 16 bits and interpolated.
class KernelWeights {
 public:
  static constexpr int kMaxTaps = 256;

  /// `stretch` ≥ 1 widens the kernel to that many source pixels per output pixel, so that a picture
  /// made smaller does not alias. It is capped where kMaxTaps would be exceeded.
  explicit KernelWeights(ResampleKernel kernel, double stretch = 1.0);

  /// Even. The taps of sample position x (in pixels from the first sample's centre) are the samples
  /// floor(x) − taps()/2 + 1 … floor(x) + taps()/2.
  [[nodiscard]] int taps() const { return taps_; }
  /// True for the four unstretched cubic taps, whose weights have a short formula.
  [[nodiscard]] bool is_catmull_rom() const { return catmull_rom_; }
  /// Weights for x − floor(x) = `fraction` in [0, 1); they sum to 1. `weights` has taps() places.
  void at(double fraction, float* weights) const {
    const double position = fraction * kPhases;
    const auto phase = std::min(static_cast<std::size_t>(position), std::size_t{kPhases - 1});
    const float t = static_cast<float>(position - static_cast<double>(phase));
    const auto width = static_cast<std::size_t>(taps_);
    const float* low = table_.data() + phase * width;
    const float* high = low + width;
    for (std::size_t i = 0; i < width; ++i) weights[i] = low[i] + t * (high[i] - low[i]);
  }

 private:
  static constexpr int kPhases = 1024;

  int taps_ = 0;
  bool catmull_rom_ = false;
  std::vector<float> table_;  // (kPhases + 1) rows of taps_
};

/// Reads a picture at continuous positions (projection/conventions.h); beyond the border the
/// border's samples repeat. Keeps a reference to both arguments' memory. Thread-safe.
class PictureSampler {
 public:
  /// The picture's memory, as in Image.
  struct Raster {
    const std::byte* samples;
    SampleType type;
    int width, height, channels;
  };

  PictureSampler(const Image& image, const KernelWeights& kernel);

  /// Channels without alpha: 1 or 3.
  [[nodiscard]] int colours() const { return colours_; }
  [[nodiscard]] const Raster& raster() const { return raster_; }
  [[nodiscard]] const KernelWeights& kernel() const { return *kernel_; }
  /// All colours at one position, code values with white at 1. `values` has colours() places.
  void sample(const Vec2& px, float* values) const;
  /// One colour at a position.
  [[nodiscard]] float sample(const Vec2& px, int colour) const;

 private:
  Raster raster_;
  const KernelWeights* kernel_;
  int colours_;
};

}  // namespace seamwright
