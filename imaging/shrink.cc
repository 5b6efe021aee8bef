#include "imaging/shrink.h"

#include <cassert>
#include <cstddef>
#include <cstdint>
#include <type_traits>
#include <vector>

#include "base/parallel.h"

namespace seamwright {

namespace {

// Means of `side` pixels each of a row of sums.
template <class T, class Sum>
void across(const Sum* down, std::size_t side, std::size_t channels, Sum half, Sum count,
            std::size_t width, T* out) {
  for (std::size_t x = 0; x < width; ++x) {
    for (std::size_t c = 0; c < channels; ++c) {
      Sum sum = half;
      for (std::size_t k = 0; k < side; ++k) sum += down[(x * side + k) * channels + c];
      out[x * channels + c] = static_cast<T>(sum / count);
    }
  }
}

template <class T>
void shrink_rows(const Image& from, int factor, Image& to) {
  using Sum = std::conditional_t<std::is_same_v<T, float>, float, std::uint32_t>;
  const auto channels = static_cast<std::size_t>(from.channel_count());
  const auto side = static_cast<std::size_t>(factor);
  const auto count = static_cast<Sum>(factor * factor);
  const Sum half = std::is_same_v<T, float> ? Sum{0} : count / 2;
  parallel_for(0, to.height(), [&](int y) {
    // Down first: straight loops over whole rows.
    const auto first = from.row<T>(y * factor);
    std::vector<Sum> down(first.begin(), first.end());
    for (int k = 1; k < factor; ++k) {
      const T* row = from.row<T>(y * factor + k).data();
      for (std::size_t i = 0; i < down.size(); ++i) down[i] += row[i];
    }
    const auto out = to.row<T>(y);
    const auto width = static_cast<std::size_t>(to.width());
    if (side == 2 && channels == 3) {  // most often; numbers that the compiler knows
      across<T, Sum>(down.data(), 2, 3, half, Sum{4}, width, out.data());
    } else {
      across(down.data(), side, channels, half, count, width, out.data());
    }
  });
}

}  // namespace

Image shrunk(const Image& image, int factor) {
  assert(factor >= 1 && image.width() % factor == 0 && image.height() % factor == 0);
  Image to(image.width() / factor, image.height() / factor, image.channels(), image.type());
  to.take_meaning_of(image);
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
