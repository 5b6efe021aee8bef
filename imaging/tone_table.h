#pragma once

#include <bit>
#include <cstdint>
#include <functional>
#include <span>
#include <vector>

namespace seamwright {

/// light = white · (scale · code + offset)^gamma, the way a tone curve goes on above code 1.
struct ToneAboveWhite {
  double white = 1;
  double scale = 1;
  double offset = 0;
  double gamma = 1;

  bool operator==(const ToneAboveWhite&) const = default;
};

/// Strictly rising map of one channel between code and light, both nominally 0…1.
///
/// Decoding interpolates a table over all 16-bit codes, so that 8- and 16-bit codes decode without
/// interpolation error. Encoding interpolates a table over light whose grid follows the floating
/// point format: an equal number of steps in each octave, so that a power law is met with the same
/// relative error down to black. Negative values are mapped by odd symmetry.
class ToneTable {
 public:
  static constexpr int kCodes = 65536;

  /// `decode` maps code 0…1 to light and must not fall. Flat stretches get the slightest slope.
  ToneTable(const std::function<double(double)>& decode, const ToneAboveWhite& above_white);
  /// Goes on above white by the power law that fits the curve's upper end.
  explicit ToneTable(const std::function<double(double)>& decode);

  [[nodiscard]] float to_linear(float code) const;
  [[nodiscard]] float from_linear(float light) const;

  bool operator==(const ToneTable&) const = default;

  /// Light of code i/65535; of 8-bit code k at 257·k.
  [[nodiscard]] std::span<const float, kCodes> light_of_codes() const {
    return std::span<const float, kCodes>(decode_.data(), kCodes);
  }

  /// The table behind from_linear(), for those who look up many at once: the code of light l with
  /// bits b ≥ first_bits lies between entries i and i + 1, i = (b − first_bits) >> step_shift.
  struct Encoding {
    std::span<const float> codes;
    std::uint32_t first_bits = 0;
    std::uint32_t step_shift = 0;
  };
  [[nodiscard]] Encoding encoding() const { return {encode_, kFirstBits, step_shift_}; }

 private:
  static constexpr int kFirstOctave = -48;  // straight to zero below 2^kFirstOctave
  static constexpr int kEndOctave = 4;      // by formula from 2^kEndOctave on
  static constexpr std::uint32_t kMantissaBits = 23;
  static constexpr int kExponentBias = 127;
  static constexpr std::uint32_t kFirstBits =
      static_cast<std::uint32_t>(kExponentBias + kFirstOctave) << kMantissaBits;
  static constexpr std::uint32_t kEndBits = static_cast<std::uint32_t>(kExponentBias + kEndOctave)
                                            << kMantissaBits;

  void build_encoding(int step_bits);
  [[nodiscard]] bool returns_every_code() const;
  [[nodiscard]] float decode_outside(float code) const;
  [[nodiscard]] float encode_outside(float light) const;
  [[nodiscard]] double code_above_white(double light) const;

  std::vector<float> decode_;     // light of code i/65535, one more for the interpolation
  std::vector<float> encode_;     // code on the octave grid, one more for the interpolation
  std::uint32_t step_shift_ = 0;  // mantissa bits left of one step of that grid
  ToneAboveWhite above_white_;
};

inline float ToneTable::to_linear(float code) const {
  const float at = code * static_cast<float>(kCodes - 1);
  if (!(at >= 0.0F && at <= static_cast<float>(kCodes - 1))) return decode_outside(code);
  const auto index = static_cast<std::uint32_t>(at);
  const float low = decode_[index];
  return low + (at - static_cast<float>(index)) * (decode_[index + 1] - low);
}

inline float ToneTable::from_linear(float light) const {
  const std::uint32_t above = std::bit_cast<std::uint32_t>(light) - kFirstBits;
  if (above >= kEndBits - kFirstBits) return encode_outside(light);
  const std::uint32_t index = above >> step_shift_;
  const std::uint32_t rest = above & ((1U << step_shift_) - 1U);
  const float part = static_cast<float>(rest) / static_cast<float>(1U << step_shift_);
  const float low = encode_[index];
  return low + part * (encode_[index + 1] - low);
}

}  // namespace seamwright
