#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

#include "base/result.h"
#include "imaging/image.h"
#include "imaging/picture_file.h"
#include "imaging/tiff_handle.h"

namespace seamwright {

/// What the first directory of a TIFF says about its pixels, checked against what is read.
struct TiffDirectory {
  std::uint32_t width = 0;  // as stored
  std::uint32_t height = 0;
  std::uint32_t block_width = 0;   // of a tile, or the width
  std::uint32_t block_height = 0;  // of a tile, or rows per strip
  bool tiled = false;
  bool planes_apart = false;  // PlanarConfiguration 2
  Channels channels = Channels::rgb;
  SampleType type = SampleType::u8;
  std::uint16_t compression = 1;
  int orientation = 1;
  bool white_is_zero = false;
  bool premultiplied = false;
  std::vector<std::byte> icc_profile;

  [[nodiscard]] std::size_t pixel_bytes() const {
    return static_cast<std::size_t>(channel_count(channels)) * bytes_per_sample(type);
  }
};

/// Fails on kinds of TIFF that are not read, with a remedy, and on sizes that cannot be.
[[nodiscard]] Result<TiffDirectory> read_tiff_directory(const TiffHandle& handle,
                                                        const PictureFile& file);

}  // namespace seamwright
