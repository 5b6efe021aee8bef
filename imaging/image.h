#pragma once

// One raster type for everything: frames in, panoramas out. The sample type and the meaning of the
// channels are explicit; 16-bit data stays 16-bit until a caller asks for something else.

#include <cassert>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "imaging/zeroed_bytes.h"

namespace seamwright {

enum class SampleType : std::uint8_t {
  u8,   ///< 0…255
  u16,  ///< 0…65535
  f32,  ///< nominal white is 1.0; values above are kept
};

/// What the interleaved channels of a pixel mean. Alpha is unassociated (not premultiplied).
enum class Channels : std::uint8_t { grey, grey_alpha, rgb, rgba };

/// How code values relate to light when no ICC profile says it.
enum class Transfer : std::uint8_t {
  srgb,    ///< IEC 61966-2-1
  linear,  ///< proportional to light
};

[[nodiscard]] constexpr int channel_count(Channels channels) {
  switch (channels) {
    case Channels::grey:
      return 1;
    case Channels::grey_alpha:
      return 2;
    case Channels::rgb:
      return 3;
    case Channels::rgba:
      return 4;
  }
  return 0;
}

[[nodiscard]] constexpr bool has_alpha(Channels channels) {
  return channels == Channels::grey_alpha || channels == Channels::rgba;
}

[[nodiscard]] constexpr std::size_t bytes_per_sample(SampleType type) {
  switch (type) {
    case SampleType::u8:
      return 1;
    case SampleType::u16:
      return 2;
    case SampleType::f32:
      return 4;
  }
  return 0;
}

template <class T>
inline constexpr SampleType sample_type_of = SampleType::u8;
template <>
inline constexpr SampleType sample_type_of<std::uint16_t> = SampleType::u16;
template <>
inline constexpr SampleType sample_type_of<float> = SampleType::f32;

/// Rows top to bottom, pixels left to right, channels interleaved, no row padding. Value type;
/// pixel (column x, row y) covers [x, x+1) × [y, y+1) in continuous coordinates.
class Image {
 public:
  Image() = default;
  /// Zero-filled. `width`, `height` > 0.
  Image(int width, int height, Channels channels, SampleType type);

  [[nodiscard]] int width() const { return width_; }
  [[nodiscard]] int height() const { return height_; }
  [[nodiscard]] bool empty() const { return width_ == 0; }
  [[nodiscard]] Channels channels() const { return channels_; }
  [[nodiscard]] SampleType type() const { return type_; }
  [[nodiscard]] int channel_count() const { return seamwright::channel_count(channels_); }
  [[nodiscard]] std::size_t row_bytes() const {
    return static_cast<std::size_t>(width_) * static_cast<std::size_t>(channel_count()) *
           bytes_per_sample(type_);
  }

  [[nodiscard]] std::span<std::byte> bytes() { return bytes_.span(); }
  [[nodiscard]] std::span<const std::byte> bytes() const { return bytes_.span(); }

  /// Row y as width × channel_count samples of T; T must match `type()` (asserted).
  template <class T>
  [[nodiscard]] std::span<T> row(int y);
  template <class T>
  [[nodiscard]] std::span<const T> row(int y) const;

  /// ICC profile of the pixels, byte for byte as found; empty when there is none.
  std::vector<std::byte> icc_profile;
  /// Meaning of the code values where `icc_profile` is empty.
  Transfer transfer = Transfer::srgb;
  /// The file that the pixels, or most of them, were read from: errors name it. Empty: none.
  std::string file;

  /// Copies profile, transfer and file from the picture that this one is made from.
  void take_meaning_of(const Image& other);

 private:
  // Inline: rows are asked for in inner loops.
  void check_row([[maybe_unused]] int y, [[maybe_unused]] SampleType wanted) const {
    assert(y >= 0 && y < height_);
    assert(wanted == type_);
  }

  int width_ = 0;
  int height_ = 0;
  Channels channels_ = Channels::rgb;
  SampleType type_ = SampleType::u8;
  ZeroedBytes bytes_;
};

template <class T>
std::span<T> Image::row(int y) {
  check_row(y, sample_type_of<T>);
  return {reinterpret_cast<T*>(bytes_.data() + static_cast<std::size_t>(y) * row_bytes()),
          static_cast<std::size_t>(width_) * static_cast<std::size_t>(channel_count())};
}

template <class T>
std::span<const T> Image::row(int y) const {
  check_row(y, sample_type_of<T>);
  return {reinterpret_cast<const T*>(bytes_.data() + static_cast<std::size_t>(y) * row_bytes()),
          static_cast<std::size_t>(width_) * static_cast<std::size_t>(channel_count())};
}

}  // namespace seamwright
