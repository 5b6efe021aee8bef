#pragma once

// Frames as light. Code values are decoded row by row, so that a burst of large frames is held at
// its own 8 or 16 bits.

#include <span>
#include <vector>

#include "imaging/image.h"
#include "imaging/plane.h"
#include "imaging/transfer.h"

namespace seamwright {

/// Row y of `image` as linear light, full code 1.0; interleaved as in the image. The span must hold
/// width × channels.
inline void decode_light(const Image& image, const TransferCurve& curve, int y,
                         std::span<float> light) {
  switch (image.type()) {
    case SampleType::u8:
      curve.decode_row(image.row<std::uint8_t>(y), image.channels(), light);
      break;
    case SampleType::u16:
      curve.decode_row(image.row<std::uint16_t>(y), image.channels(), light);
      break;
    case SampleType::f32:
      curve.decode_row(image.row<float>(y), image.channels(), light);
      break;
  }
}

inline void encode_light(Image& image, const TransferCurve& curve, int y,
                         std::span<const float> light) {
  switch (image.type()) {
    case SampleType::u8:
      curve.encode_row(light, image.channels(), image.row<std::uint8_t>(y));
      break;
    case SampleType::u16:
      curve.encode_row(light, image.channels(), image.row<std::uint16_t>(y));
      break;
    case SampleType::f32:
      curve.encode_row(light, image.channels(), image.row<float>(y));
      break;
  }
}

/// Room for one row of light.
[[nodiscard]] inline std::vector<float> light_row(const Image& image) {
  return std::vector<float>(static_cast<std::size_t>(image.width()) *
                            static_cast<std::size_t>(image.channel_count()));
}

/// Colour channels of an image, without alpha: 1 or 3.
[[nodiscard]] inline std::size_t colour_count(const Image& image) {
  return static_cast<std::size_t>(image.channel_count()) - (has_alpha(image.channels()) ? 1 : 0);
}

}  // namespace seamwright
