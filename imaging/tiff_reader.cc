#include <algorithm>
#include <cmath>
#include <cstring>
#include <limits>
#include <type_traits>

#include "imaging/codecs.h"
#include "imaging/icc.h"
#include "imaging/orient.h"
#include "imaging/picture_error.h"
#include "imaging/picture_limit.h"
#include "imaging/tiff_directory.h"

namespace seamwright {
namespace {

// The part of the picture that one strip or tile covers, and its place in the file.
struct Block {
  std::uint32_t index = 0;  // of the strip or tile, as libtiff counts
  std::uint32_t left = 0;
  std::uint32_t top = 0;
  std::uint32_t width = 0;  // inside the picture
  std::uint32_t height = 0;
  std::size_t stored_bytes = 0;  // decompressed, beyond the picture's border included
};

class BlockReader {
 public:
  BlockReader(const TiffHandle& handle, const TiffDirectory& directory, Image& image)
      : handle_(handle), directory_(directory), image_(image) {
    const auto samples = static_cast<std::size_t>(image.channel_count());
    planes_ = directory.planes_apart ? samples : 1;
    bytes_in_plane_ = directory.pixel_bytes() / planes_;
  }

  // False when any block is broken.
  bool read_all() {
    const TiffDirectory& d = directory_;
    std::uint32_t index = 0;
    for (std::size_t plane = 0; plane < planes_; ++plane) {
      for (std::uint32_t top = 0; top < d.height; top += d.block_height) {
        for (std::uint32_t left = 0; left < d.width; left += d.block_width, ++index) {
          if (!read(block_at(index, left, top), plane)) return false;
        }
      }
    }
    return true;
  }

 private:
  [[nodiscard]] Block block_at(std::uint32_t index, std::uint32_t left, std::uint32_t top) const {
    const TiffDirectory& d = directory_;
    Block block{.index = index, .left = left, .top = top};
    block.width = std::min(d.block_width, d.width - left);
    block.height = std::min(d.block_height, d.height - top);
    const std::uint32_t stored_rows = d.tiled ? d.block_height : block.height;
    block.stored_bytes = bytes_in_plane_ * d.block_width * stored_rows;
    return block;
  }

  bool read(const Block& block, std::size_t plane) {
    if (!directory_.tiled && planes_ == 1) {
      return decode(block, image_.bytes().data() + block.top * image_.row_bytes());
    }
    if (buffer_.span().size() < block.stored_bytes) buffer_ = ZeroedBytes(block.stored_bytes);
    if (!decode(block, buffer_.data())) return false;
    for (std::uint32_t y = 0; y < block.height; ++y) place_row(block, y, plane);
    return true;
  }

  bool decode(const Block& block, std::byte* to) const {
    const auto size = static_cast<tmsize_t>(block.stored_bytes);
    const tmsize_t got = directory_.tiled
                             ? TIFFReadEncodedTile(handle_.get(), block.index, to, size)
                             : TIFFReadEncodedStrip(handle_.get(), block.index, to, size);
    return got == size;
  }

  void place_row(const Block& block, std::uint32_t y, std::size_t plane) {
    const std::byte* in = buffer_.data() + bytes_in_plane_ * directory_.block_width * y;
    const std::size_t pixel = directory_.pixel_bytes();
    std::byte* out = image_.bytes().data() + (block.top + y) * image_.row_bytes() +
                     block.left * pixel + plane * bytes_in_plane_;
    if (planes_ == 1) {
      std::memcpy(out, in, pixel * block.width);
      return;
    }
    for (std::uint32_t x = 0; x < block.width; ++x, in += bytes_in_plane_, out += pixel) {
      std::memcpy(out, in, bytes_in_plane_);
    }
  }

  const TiffHandle& handle_;
  const TiffDirectory& directory_;
  Image& image_;
  std::size_t planes_ = 1;
  std::size_t bytes_in_plane_ = 0;  // of one pixel
  ZeroedBytes buffer_;
};

template <class T>
constexpr T kWhite = std::is_same_v<T, float> ? T{1} : std::numeric_limits<T>::max();

// TIFF 6.0 "associated alpha": colour was multiplied by alpha.
template <class T>
T unmultiplied(T colour, T alpha) {
  if (alpha == T{0}) return T{0};
  if constexpr (std::is_same_v<T, float>) {
    return colour / alpha;
  } else {
    constexpr std::uint64_t kMax = std::numeric_limits<T>::max();
    return static_cast<T>(std::min(kMax, (std::uint64_t{colour} * kMax + alpha / 2) / alpha));
  }
}

template <class T>
void normalise(const TiffDirectory& directory, Image& image) {
  const auto step = static_cast<std::size_t>(image.channel_count());
  const std::size_t colours = step - (has_alpha(image.channels()) ? 1 : 0);
  for (int y = 0; y < image.height(); ++y) {
    const auto row = image.row<T>(y);
    for (std::size_t i = 0; i < row.size(); i += step) {
      for (std::size_t c = i; c < i + colours; ++c) {
        if (directory.premultiplied) row[c] = unmultiplied(row[c], row[i + colours]);
        if (directory.white_is_zero) row[c] = static_cast<T>(kWhite<T> - row[c]);
      }
    }
  }
}

void normalise(const TiffDirectory& directory, Image& image) {
  if (!directory.white_is_zero && !directory.premultiplied) return;
  switch (image.type()) {
    case SampleType::u8:
      return normalise<std::uint8_t>(directory, image);
    case SampleType::u16:
      return normalise<std::uint16_t>(directory, image);
    case SampleType::f32:
      return normalise<float>(directory, image);
  }
}

const char* compression_name(std::uint16_t compression) {
  switch (compression) {
    case COMPRESSION_LZW:
      return "LZW";
    case COMPRESSION_PACKBITS:
      return "PackBits";
    case COMPRESSION_NONE:
      return "none";
    default:
      return "deflate";
  }
}

}  // namespace

Result<Image> read_tiff(const PictureFile& file) {
  const auto handle = TiffHandle::open(file.path, "rm");  // m: no memory map
  if (!handle) return tl::unexpected(handle.error());
  auto directory = read_tiff_directory(*handle, file);
  if (!directory) return tl::unexpected(directory.error());
  // A tile may be larger than its picture.
  if (auto ok = check_picture_limit(file.path, directory->block_width, directory->block_height,
                                    directory->pixel_bytes());
      !ok) {
    return tl::unexpected(ok.error());
  }
  Image image(static_cast<int>(directory->width), static_cast<int>(directory->height),
              directory->channels, directory->type);
  if (!BlockReader(*handle, *directory, image).read_all()) {
    return fail(broken_picture(file.path, handle->message()));
  }
  normalise(*directory, image);
  image.icc_profile = std::move(directory->icc_profile);
  image.transfer = directory->type == SampleType::f32 ? Transfer::linear : Transfer::srgb;
  return upright(std::move(image), directory->orientation);
}

Result<ImageHeader> read_tiff_header(const PictureFile& file) {
  const auto handle = TiffHandle::open(file.path, "rm");
  if (!handle) return tl::unexpected(handle.error());
  const auto directory = read_tiff_directory(*handle, file);
  if (!directory) return tl::unexpected(directory.error());
  ImageHeader header;
  header.format = TIFFIsBigTIFF(handle->get()) != 0 ? "BigTIFF" : "TIFF";
  header.width = static_cast<int>(directory->width);
  header.height = static_cast<int>(directory->height);
  if (directory->orientation >= 5 && directory->orientation <= 8) {
    std::swap(header.width, header.height);
  }
  header.channels = directory->channels;
  header.type = directory->type;
  header.bits_per_sample = static_cast<int>(8 * bytes_per_sample(directory->type));
  header.compression = compression_name(directory->compression);
  header.tiled = directory->tiled;
  header.orientation = directory->orientation;
  header.icc_bytes = directory->icc_profile.size();
  header.icc_description = icc_description(directory->icc_profile);
  return header;
}

}  // namespace seamwright
