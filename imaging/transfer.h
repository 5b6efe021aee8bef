#pragma once

// Code values to light and back. Rendering decodes and encodes every pixel, so both ways are table
// look-ups, good to well below one 16-bit step.

#include <array>
#include <bit>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <utility>
#include <vector>

#include "base/result.h"
#include "imaging/image.h"

namespace seamwright {

/// IEC 61966-2-1 decoding, code 0…1 to light 0…1; extended linearly below 0, by the formula
/// above 1.
[[nodiscard]] double srgb_to_linear(double code);
/// IEC 61966-2-1 encoding, light 0…1 to code 0…1; extended likewise.
[[nodiscard]] double linear_to_srgb(double light);

/// Strictly rising map of one channel between code and light, both nominally 0…1.
///
/// Decoding interpolates a table over all 16-bit codes, so that 8- and 16-bit codes decode without
/// interpolation error. Encoding interpolates a table over light whose grid follows the floating
/// point format: an equal number of steps in each octave, so that a power law is met with the same
/// relative error down to black. Below 0 both go on in a straight line, above 1 by a power law.
class ToneTable {
 public:
  static constexpr int kCodes = 65536;

  [[nodiscard]] float to_linear(float code) const;
  [[nodiscard]] float from_linear(float light) const;

  /// Light of code i/65535; of 8-bit code k at 257·k.
  [[nodiscard]] std::span<const float, kCodes> light_of_codes() const {
    return std::span<const float, kCodes>(decode_.data(), kCodes);
  }

 private:
  friend class ToneTableBuilder;
  static constexpr int kFirstOctave = -48;  ///< straight to zero below 2^kFirstOctave
  static constexpr int kEndOctave = 4;      ///< by formula from 2^kEndOctave on

  [[nodiscard]] float decode_outside(float code) const;
  [[nodiscard]] float encode_outside(float light) const;

  std::vector<float> decode_;  // light of code i/65535, one more for the interpolation
  std::vector<float> encode_;  // code on the octave grid, one more for the interpolation
  int step_bits_ = 0;          // 2^step_bits_ steps an octave
  // Above white: light = white · (scale · code + offset)^gamma.
  double white_ = 1;
  double scale_ = 1;
  double offset_ = 0;
  double gamma_ = 1;
};

/// Tone curves of an image, one a colour channel. Decoding and then encoding returns every 16-bit
/// code value unchanged. Cheap to copy; safe to share between threads.
class TransferCurve {
 public:
  [[nodiscard]] static TransferCurve srgb();
  [[nodiscard]] static TransferCurve linear();
  /// The tone curves of an image: from its ICC profile (matrix/TRC or grey profiles, read with
  /// lcms2), else from `image.transfer`. Fails on a broken profile, one without tone curves, and
  /// one for another kind of colour.
  [[nodiscard]] static Result<TransferCurve> of(const Image& image);

  /// `channel` 0…2; grey images use 0.
  [[nodiscard]] float to_linear(float code, int channel) const {
    return linear_ ? code : tables_[static_cast<std::size_t>(channel)]->to_linear(code);
  }
  [[nodiscard]] float from_linear(float light, int channel) const {
    return linear_ ? light : tables_[static_cast<std::size_t>(channel)]->from_linear(light);
  }

  /// Light of every 16-bit code; 8-bit code k is entry 257·k.
  [[nodiscard]] std::span<const float, ToneTable::kCodes> light_of_codes(int channel) const {
    return tables_[static_cast<std::size_t>(channel)]->light_of_codes();
  }

  /// Whole rows, interleaved as `channels` says; alpha is scaled to 0…1 and back, never curved.
  /// Sizes must agree (asserted). T is std::uint8_t, std::uint16_t or float; integers are rounded
  /// once, clamped to their range.
  template <class T>
  void decode_row(std::span<const T> codes, Channels channels, std::span<float> light) const;
  template <class T>
  void encode_row(std::span<const float> light, Channels channels, std::span<T> codes) const;

  [[nodiscard]] bool is_linear() const { return linear_; }

 private:
  using Table = std::shared_ptr<const ToneTable>;
  TransferCurve(std::array<Table, 3> tables, bool linear)
      : tables_(std::move(tables)), linear_(linear) {}

  std::array<Table, 3> tables_;
  bool linear_ = false;
};

inline float ToneTable::to_linear(float code) const {
  const float at = code * static_cast<float>(kCodes - 1);
  if (!(at >= 0.0F && at <= static_cast<float>(kCodes - 1))) return decode_outside(code);
  const auto index = static_cast<std::uint32_t>(at);
  const float low = decode_[index];
  return low + (at - static_cast<float>(index)) * (decode_[index + 1] - low);
}

inline float ToneTable::from_linear(float light) const {
  constexpr std::uint32_t kMantissaBits = 23;
  constexpr std::uint32_t kExponentBias = 127;
  constexpr std::uint32_t kFirst = (kExponentBias + kFirstOctave) << kMantissaBits;
  constexpr std::uint32_t kEnd = (kExponentBias + kEndOctave) << kMantissaBits;
  const auto bits = std::bit_cast<std::uint32_t>(light);
  if (bits - kFirst >= kEnd - kFirst) return encode_outside(light);
  const std::uint32_t shift = kMantissaBits - static_cast<std::uint32_t>(step_bits_);
  const std::uint32_t index = (bits - kFirst) >> shift;
  const std::uint32_t rest = bits & ((1U << shift) - 1U);
  const float part = static_cast<float>(rest) / static_cast<float>(1U << shift);
  const float low = encode_[index];
  return low + part * (encode_[index + 1] - low);
}

}  // namespace seamwright
