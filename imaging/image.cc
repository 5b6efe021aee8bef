#include "imaging/image.h"

#include <cassert>

namespace seamwright {

Image::Image(int width, int height, Channels channels, SampleType type)
    : width_(width), height_(height), channels_(channels), type_(type) {
  assert(width > 0 && height > 0);
  bytes_.resize(row_bytes() * static_cast<std::size_t>(height));
}

std::size_t Image::row_bytes() const {
  return static_cast<std::size_t>(width_) * static_cast<std::size_t>(channel_count()) *
         bytes_per_sample(type_);
}

void Image::check_row([[maybe_unused]] int y, [[maybe_unused]] SampleType wanted) const {
  assert(y >= 0 && y < height_);
  assert(wanted == type_);
}

}  // namespace seamwright
