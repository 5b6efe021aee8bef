#include <algorithm>
#include <cassert>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <span>
#include <type_traits>
#include <utility>
#include <vector>

#include "base/parallel.h"
#include "imaging/resize.h"

namespace seamwright {

namespace {

// A square of pixels that becomes one.
template <class Sum>
struct Square {
  std::size_t side = 1;
  std::size_t channels = 1;
  Sum half{};    // added for rounding
  Sum count{1};  // of its pixels
};

// Means of a row of squares whose columns are summed already.
template <class T, class Sum>
void across(const Sum* down, const Square<Sum>& square, std::size_t width, T* out) {
  for (std::size_t x = 0; x < width; ++x) {
    for (std::size_t c = 0; c < square.channels; ++c) {
      Sum sum = square.half;
      for (std::size_t k = 0; k < square.side; ++k) {
        sum += down[(x * square.side + k) * square.channels + c];
      }
      out[x * square.channels + c] = static_cast<T>(sum / square.count);
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
      across<T, Sum>(down.data(), {2, 3, half, Sum{4}}, width, out.data());
    } else {
      across<T, Sum>(down.data(), {side, channels, half, count}, width, out.data());
    }
  });
}

// The source places that one output place covers, and their shares.
struct Cover {
  int first = 0;
  std::vector<float> share;
};

std::vector<Cover> covers_of(int from, int to, double step) {
  std::vector<Cover> covers;
  for (int i = 0; i < to; ++i) {
    const double begin = i * step;
    const double end = std::min((i + 1) * step, static_cast<double>(from));
    Cover cover{.first = static_cast<int>(begin), .share = {}};
    for (int at = cover.first; at < end; ++at) {
      const double part = std::min(end, at + 1.0) - std::max(begin, static_cast<double>(at));
      cover.share.push_back(static_cast<float>(part / (end - begin)));
    }
    covers.push_back(std::move(cover));
  }
  return covers;
}

void average_row(const Image& plane, const Cover& rows, const std::vector<Cover>& columns,
                 std::span<float> to) {
  std::vector<float> line(static_cast<std::size_t>(plane.width()), 0.0F);
  for (std::size_t r = 0; r < rows.share.size(); ++r) {
    const auto row = plane.row<float>(rows.first + static_cast<int>(r));
    for (std::size_t x = 0; x < line.size(); ++x) line[x] += rows.share[r] * row[x];
  }
  for (std::size_t x = 0; x < to.size(); ++x) {
    float sum = 0;
    const auto first = static_cast<std::size_t>(columns[x].first);
    for (std::size_t c = 0; c < columns[x].share.size(); ++c) {
      sum += columns[x].share[c] * line[first + c];
    }
    to[x] = sum;
  }
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

Image averaged(const Image& plane, int width_px) {
  assert(plane.type() == SampleType::f32 && plane.channel_count() == 1);
  assert(width_px > 0 && width_px <= plane.width());
  const double step = static_cast<double>(plane.width()) / width_px;
  Image small(width_px, static_cast<int>(std::lround(plane.height() / step)), Channels::grey,
              SampleType::f32);
  const std::vector<Cover> columns = covers_of(plane.width(), width_px, step);
  const std::vector<Cover> rows = covers_of(plane.height(), small.height(), step);
  parallel_for(0, small.height(), [&](int y) {
    average_row(plane, rows[static_cast<std::size_t>(y)], columns, small.row<float>(y));
  });
  return small;
}

}  // namespace seamwright
