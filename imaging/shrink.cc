#include "imaging/shrink.h"

#include <cassert>
#include <cstddef>
#include <cstdint>
#include <type_traits>
#include <vector>

#include "base/parallel.h"

namespace seamwright {

namespace {

template <class T>
void shrink_rows(const Image& from, int factor, Image& to) {
  using Sum = std::conditional_t<std::is_same_v<T, float>, float, std::uint32_t>;
  const auto channels = static_cast<std::size_t>(from.channel_count());
  const auto side = static_cast<std::size_t>(factor);
  const auto count = static_cast<Sum>(factor * factor);
  const Sum half = std::is_same_v<T, float> ? Sum{0} : count / 2;
  parallel_for(0, to.height(), [&](int y) {
    // Down first: straight loops over whole rows.
    std::vector<Sum> down(static_cast<std::size_t>(from.width()) * channels, Sum{0});
    for (int k = 0; k < factor; ++k) {
      const auto row = from.row<T>(y * factor + k);
      for (std::size_t i = 0; i < down.size(); ++i) down[i] += row[i];
    }
    const auto out = to.row<T>(y);
    for (std::size_t x = 0; x < static_cast<std::size_t>(to.width()); ++x) {
      for (std::size_t c = 0; c < channels; ++c) {
        Sum sum = half;
        for (std::size_t k = 0; k < side; ++k) sum += down[(x * side + k) * channels + c];
        out[x * channels + c] = static_cast<T>(sum / count);
      }
    }
  });
}

}  // namespace

Image shrunk(const Image& image, int factor) {
  assert(factor >= 1 && image.width() % factor == 0 && image.height() % factor == 0);
  Image to(image.width() / factor, image.height() / factor, image.channels(), image.type());
  to.icc_profile = image.icc_profile;
  to.transfer = image.transfer;
  switch (image.type()) {
    case SampleType::u8:
      shrink_rows<std::uint8_t>(image, factor, to);
      break;
    case SampleType::u16:
      shrink_rows<std::uint16_t>(image, factor, to);
      break;
    case SampleType::f32:
      shrink_rows<float>(image, factor, to);
      break;
  }
  return to;
}

}  // namespace seamwright
