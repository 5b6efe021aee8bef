#pragma once

// Code values to light and back. Rendering decodes and encodes every pixel, so both ways are table
// look-ups, good to well below one 16-bit step.

#include <array>
#include <cstddef>
#include <memory>
#include <span>
#include <utility>

#include "base/result.h"
#include "imaging/image.h"
#include "imaging/tone_table.h"

namespace seamwright {

/// IEC 61966-2-1 decoding, code 0…1 to light 0…1; by the formula above 1, odd below 0.
[[nodiscard]] double srgb_to_linear(double code);
/// IEC 61966-2-1 encoding, light 0…1 to code 0…1; by the formula above 1, odd below 0.
[[nodiscard]] double linear_to_srgb(double light);

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

  /// Light of every 16-bit code; 8-bit code k is entry 257·k. Valid while a copy of this lives.
  [[nodiscard]] std::span<const float, ToneTable::kCodes> light_of_codes(int channel) const {
    return tables_[static_cast<std::size_t>(channel)]->light_of_codes();
  }

  /// Whole rows, interleaved as `channels` says; alpha is scaled to 0…1 and back, never curved.
  /// Sizes must agree (asserted). T is std::uint8_t, std::uint16_t or float; integers are rounded
  /// once and clamped to their range.
  template <class T>
  void decode_row(std::span<const T> codes, Channels channels, std::span<float> light) const;
  template <class T>
  void encode_row(std::span<const float> light, Channels channels, std::span<T> codes) const;

  [[nodiscard]] bool is_linear() const { return linear_; }
  /// The table of a channel, null where codes are light. Valid while a copy of this lives.
  [[nodiscard]] const ToneTable* table(int channel) const {
    return linear_ ? nullptr : tables_[static_cast<std::size_t>(channel)].get();
  }

 private:
  using Table = std::shared_ptr<const ToneTable>;
  TransferCurve(std::array<Table, 3> tables, bool linear)
      : tables_(std::move(tables)), linear_(linear) {}

  std::array<Table, 3> tables_;
  bool linear_ = false;
};

}  // namespace seamwright
