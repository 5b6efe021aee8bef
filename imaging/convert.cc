#include "imaging/convert.h"

#include "imaging/quantise.h"

namespace seamwright {
namespace {

template <class To, class From>
To converted(From sample) {
  if constexpr (std::is_same_v<From, std::uint8_t> && std::is_same_v<To, std::uint16_t>) {
    return static_cast<std::uint16_t>(sample * 257);
  } else if constexpr (std::is_same_v<From, std::uint16_t> && std::is_same_v<To, std::uint8_t>) {
    return static_cast<std::uint8_t>((sample + 128) / 257);
  } else {
    return sample_from_unit<To>(unit_from_sample(sample));
  }
}

template <class To, class From>
void convert_rows(const Image& from, Image& to) {
  for (int y = 0; y < from.height(); ++y) {
    const auto in = from.row<From>(y);
    const auto out = to.row<To>(y);
    for (std::size_t i = 0; i < in.size(); ++i) out[i] = converted<To>(in[i]);
  }
}

template <class From>
void convert_rows_from(const Image& from, Image& to) {
  switch (to.type()) {
    case SampleType::u8:
      return convert_rows<std::uint8_t, From>(from, to);
    case SampleType::u16:
      return convert_rows<std::uint16_t, From>(from, to);
    case SampleType::f32:
      return convert_rows<float, From>(from, to);
  }
}

// Weights of Rec. ITU-R BT.709-6, item 3.2.
float luma(float red, float green, float blue) {
  return 0.2126F * red + 0.7152F * green + 0.0722F * blue;
}

template <class From>
void grey_rows(const Image& from, Image& to) {
  const auto step = static_cast<std::size_t>(from.channel_count());
  const bool coloured = from.channels() == Channels::rgb || from.channels() == Channels::rgba;
  for (int y = 0; y < from.height(); ++y) {
    const auto in = from.row<From>(y);
    const auto out = to.row<float>(y);
    for (std::size_t x = 0; x < out.size(); ++x) {
      const From* pixel = &in[x * step];
      out[x] = coloured ? luma(unit_from_sample(pixel[0]), unit_from_sample(pixel[1]),
                               unit_from_sample(pixel[2]))
                        : unit_from_sample(pixel[0]);
    }
  }
}

}  // namespace

Image to_type(const Image& image, SampleType type) {
  if (image.empty() || image.type() == type) return image;
  Image to(image.width(), image.height(), image.channels(), type);
  to.take_meaning_of(image);
  switch (image.type()) {
    case SampleType::u8:
      convert_rows_from<std::uint8_t>(image, to);
      break;
    case SampleType::u16:
      convert_rows_from<std::uint16_t>(image, to);
      break;
    case SampleType::f32:
      convert_rows_from<float>(image, to);
      break;
  }
  return to;
}

Image to_grey_f32(const Image& image) {
  if (image.empty()) return image;
  Image to(image.width(), image.height(), Channels::grey, SampleType::f32);
  to.transfer = image.transfer;
  switch (image.type()) {
    case SampleType::u8:
      grey_rows<std::uint8_t>(image, to);
      break;
    case SampleType::u16:
      grey_rows<std::uint16_t>(image, to);
      break;
    case SampleType::f32:
      grey_rows<float>(image, to);
      break;
  }
  return to;
}

}  // namespace seamwright
