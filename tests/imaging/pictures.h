#pragma once

// Pictures for tests, and what is asked of them again and again.

#include <algorithm>
#include <cstring>
#include <string>

#include <catch2/catch.hpp>

#include "imaging/image.h"
#include "tests/support/random.h"

namespace seamwright::test {

inline constexpr Channels kAllChannels[] = {Channels::grey, Channels::grey_alpha, Channels::rgb,
                                            Channels::rgba};
inline constexpr SampleType kAllTypes[] = {SampleType::u8, SampleType::u16, SampleType::f32};

/// Random samples of the whole range, so that swapped bytes, lost bits and lost rows all show.
/// Floats lie in 0…4.
[[nodiscard]] inline Image random_image(Random& random, int width, int height, Channels channels,
                                        SampleType type) {
  Image image(width, height, channels, type);
  if (type == SampleType::f32) {
    for (int y = 0; y < height; ++y) {
      for (float& sample : image.row<float>(y)) sample = static_cast<float>(random.uniform(0, 4));
    }
    image.transfer = Transfer::linear;
    return image;
  }
  for (std::byte& byte : image.bytes()) byte = static_cast<std::byte>(random.bits() & 0xFFU);
  return image;
}

/// Smooth 8-bit picture that survives JPEG well.
[[nodiscard]] inline Image smooth_image(int width, int height, Channels channels) {
  Image image(width, height, channels, SampleType::u8);
  const int step = image.channel_count();
  for (int y = 0; y < height; ++y) {
    const auto row = image.row<std::uint8_t>(y);
    for (int x = 0; x < width * step; ++x) {
      const int value = 255 * (x / step) / width / 2 + 127 * y / height - 20 * (x % step) + 40;
      row[static_cast<std::size_t>(x)] = static_cast<std::uint8_t>(std::clamp(value, 0, 255));
    }
  }
  return image;
}

[[nodiscard]] inline bool same_picture(const Image& a, const Image& b) {
  return a.width() == b.width() && a.height() == b.height() && a.channels() == b.channels() &&
         a.type() == b.type() && std::ranges::equal(a.bytes(), b.bytes());
}

[[nodiscard]] inline int worst_difference_u8(const Image& a, const Image& b) {
  int worst = 0;
  for (std::size_t i = 0; i < a.bytes().size(); ++i) {
    worst =
        std::max(worst, std::abs(static_cast<int>(a.bytes()[i]) - static_cast<int>(b.bytes()[i])));
  }
  return worst;
}

[[nodiscard]] inline std::vector<std::byte> bytes_of(std::string_view text) {
  std::vector<std::byte> bytes(text.size());
  std::memcpy(bytes.data(), text.data(), text.size());
  return bytes;
}

[[nodiscard]] inline bool contains(const std::string& text, std::string_view part) {
  return text.find(part) != std::string::npos;
}

}  // namespace seamwright::test
