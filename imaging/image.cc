#include "imaging/image.h"

#include <cassert>

namespace seamwright {

Image::Image(int width, int height, Channels channels, SampleType type)
    : width_(width), height_(height), channels_(channels), type_(type) {
  assert(width > 0 && height > 0);
  bytes_ = ZeroedBytes(row_bytes() * static_cast<std::size_t>(height));
}

void Image::take_meaning_of(const Image& other) {
  icc_profile = other.icc_profile;
  transfer = other.transfer;
  file = other.file;
}

}  // namespace seamwright
