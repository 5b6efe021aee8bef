#include "imaging/orient.h"

#include <cassert>
#include <cstddef>
#include <cstring>
#include <utility>

namespace seamwright {
namespace {

// Which source pixel a destination pixel comes from: origin + x · step_x + y · step_y.
struct Walk {
  int width = 0;  // of the destination
  int height = 0;
  int column = 0;  // origin
  int row = 0;
  int column_step_x = 0;
  int row_step_x = 0;
  int column_step_y = 0;
  int row_step_y = 0;
};

template <std::size_t kPixelBytes>
void copy_pixels(const Image& from, const Walk& walk, Image& to) {
  const auto pixel = static_cast<std::ptrdiff_t>(kPixelBytes);
  const auto row = static_cast<std::ptrdiff_t>(from.row_bytes());
  const std::ptrdiff_t step_x = walk.column_step_x * pixel + walk.row_step_x * row;
  const std::ptrdiff_t step_y = walk.column_step_y * pixel + walk.row_step_y * row;
  const std::ptrdiff_t origin = walk.column * pixel + walk.row * row;
  std::byte* out = to.bytes().data();
  for (int y = 0; y < walk.height; ++y) {
    const std::byte* in = from.bytes().data() + origin + y * step_y;
    for (int x = 0; x < walk.width; ++x, in += step_x, out += kPixelBytes) {
      std::memcpy(out, in, kPixelBytes);
    }
  }
}

Image walked(const Image& from, const Walk& walk) {
  Image to(walk.width, walk.height, from.channels(), from.type());
  to.take_meaning_of(from);
  switch (static_cast<std::size_t>(from.channel_count()) * bytes_per_sample(from.type())) {
    case 1:
      copy_pixels<1>(from, walk, to);
      break;
    case 2:
      copy_pixels<2>(from, walk, to);
      break;
    case 3:
      copy_pixels<3>(from, walk, to);
      break;
    case 4:
      copy_pixels<4>(from, walk, to);
      break;
    case 6:
      copy_pixels<6>(from, walk, to);
      break;
    case 8:
      copy_pixels<8>(from, walk, to);
      break;
    case 12:
      copy_pixels<12>(from, walk, to);
      break;
    case 16:
      copy_pixels<16>(from, walk, to);
      break;
    default:
      assert(false);
  }
  return to;
}

// Orientation n of TIFF 6.0: where the stored row 0 and column 0 are in the upright picture.
Walk walk_for_orientation(int orientation, int w, int h) {
  switch (orientation) {
    case 2:  // top, right
      return {w, h, w - 1, 0, -1, 0, 0, 1};
    case 3:  // bottom, right
      return {w, h, w - 1, h - 1, -1, 0, 0, -1};
    case 4:  // bottom, left
      return {w, h, 0, h - 1, 1, 0, 0, -1};
    case 5:  // left, top
      return {h, w, 0, 0, 0, 1, 1, 0};
    case 6:  // right, top
      return {h, w, 0, h - 1, 0, -1, 1, 0};
    case 7:  // right, bottom
      return {h, w, w - 1, h - 1, 0, -1, -1, 0};
    case 8:  // left, bottom
      return {h, w, w - 1, 0, 0, 1, -1, 0};
    default:
      return {w, h, 0, 0, 1, 0, 0, 1};
  }
}

}  // namespace

Image upright(Image image, int orientation) {
  if (orientation < 2 || orientation > 8) return image;
  return walked(image, walk_for_orientation(orientation, image.width(), image.height()));
}

Image rotate_quarter_turns(const Image& image, int turns) {
  constexpr int kOrientationOfTurns[] = {1, 6, 3, 8};
  return upright(image, kOrientationOfTurns[((turns % 4) + 4) % 4]);
}

Image mirror_left_right(const Image& image) { return upright(image, 2); }

Image crop(const Image& image, int left, int top, int width, int height) {
  assert(left >= 0 && top >= 0 && width > 0 && height > 0);
  assert(left + width <= image.width() && top + height <= image.height());
  return walked(image, {width, height, left, top, 1, 0, 0, 1});
}

}  // namespace seamwright
