#pragma once

// TIFFs of every kind, written by libtiff alone.

#include <algorithm>
#include <cstdarg>
#include <cstring>
#include <filesystem>
#include <memory>
#include <stdexcept>
#include <vector>

#include <tiffio.h>

#include "imaging/image.h"

namespace seamwright::test {

struct RawTiff {
  const char* mode = "wl";  ///< l or b: byte order, 8: BigTIFF
  std::uint16_t compression = COMPRESSION_NONE;
  std::uint16_t predictor = 1;
  bool tiled = false;
  std::uint32_t tile_px = 16;
  std::uint32_t rows_per_strip = 5;
  bool planes_apart = false;
  std::uint16_t orientation = 1;
  int photometric = -1;                     ///< −1: grey with black at 0, or RGB
  int extra_kind = EXTRASAMPLE_UNASSALPHA;  ///< of an alpha channel; −1: tag left out
};

inline int drop_message(TIFF*, void*, const char*, const char*, va_list) { return 1; }

/// For writing; warnings (the old deflate code earns one) are dropped.
inline TIFF* open_raw_tiff(const std::filesystem::path& path, const char* mode) {
  TIFFOpenOptions* options = TIFFOpenOptionsAlloc();
  TIFFOpenOptionsSetWarningHandlerExtR(options, drop_message, nullptr);
  TIFF* tiff = TIFFOpenExt(path.c_str(), mode, options);
  TIFFOpenOptionsFree(options);
  return tiff;
}

inline void require_tiff(bool ok) {
  if (!ok) throw std::runtime_error("libtiff refused to write a test picture");
}

/// One plane of samples, or all of them interleaved, cut from an image.
class RawTiffWriter {
 public:
  RawTiffWriter(const std::filesystem::path& path, const Image& image, const RawTiff& options)
      : image_(image), options_(options), tiff_(open_raw_tiff(path, options.mode), TIFFClose) {
    require_tiff(tiff_ != nullptr);
    set_fields();
    const int planes = options.planes_apart ? image.channel_count() : 1;
    std::uint32_t index = 0;
    for (int plane = 0; plane < planes; ++plane) write_plane(plane, index);
  }

 private:
  void set_fields() {
    TIFF* t = tiff_.get();
    const bool grey = image_.channel_count() < 3;
    const auto bits = static_cast<int>(8 * bytes_per_sample(image_.type()));
    const int photometric = options_.photometric >= 0 ? options_.photometric
                            : grey                    ? PHOTOMETRIC_MINISBLACK
                                                      : PHOTOMETRIC_RGB;
    TIFFSetField(t, TIFFTAG_IMAGEWIDTH, image_.width());
    TIFFSetField(t, TIFFTAG_IMAGELENGTH, image_.height());
    TIFFSetField(t, TIFFTAG_BITSPERSAMPLE, bits);
    TIFFSetField(t, TIFFTAG_SAMPLESPERPIXEL, image_.channel_count());
    TIFFSetField(t, TIFFTAG_SAMPLEFORMAT,
                 image_.type() == SampleType::f32 ? SAMPLEFORMAT_IEEEFP : SAMPLEFORMAT_UINT);
    TIFFSetField(t, TIFFTAG_PHOTOMETRIC, photometric);
    TIFFSetField(t, TIFFTAG_COMPRESSION, static_cast<int>(options_.compression));
    if (options_.predictor != 1) {
      TIFFSetField(t, TIFFTAG_PREDICTOR, static_cast<int>(options_.predictor));
    }
    TIFFSetField(t, TIFFTAG_PLANARCONFIG,
                 options_.planes_apart ? PLANARCONFIG_SEPARATE : PLANARCONFIG_CONTIG);
    TIFFSetField(t, TIFFTAG_ORIENTATION, static_cast<int>(options_.orientation));
    if (has_alpha(image_.channels()) && options_.extra_kind >= 0) {
      const auto kind = static_cast<std::uint16_t>(options_.extra_kind);
      TIFFSetField(t, TIFFTAG_EXTRASAMPLES, 1, &kind);
    }
    if (options_.tiled) {
      TIFFSetField(t, TIFFTAG_TILEWIDTH, options_.tile_px);
      TIFFSetField(t, TIFFTAG_TILELENGTH, options_.tile_px);
    } else {
      TIFFSetField(t, TIFFTAG_ROWSPERSTRIP, options_.rows_per_strip);
    }
  }

  void write_plane(int plane, std::uint32_t& index) {
    const auto width = static_cast<std::uint32_t>(image_.width());
    const auto height = static_cast<std::uint32_t>(image_.height());
    const std::uint32_t block_width = options_.tiled ? options_.tile_px : width;
    const std::uint32_t block_height = options_.tiled ? options_.tile_px : options_.rows_per_strip;
    for (std::uint32_t top = 0; top < height; top += block_height) {
      for (std::uint32_t left = 0; left < width; left += block_width, ++index) {
        const std::uint32_t rows =
            options_.tiled ? block_height : std::min(block_height, height - top);
        std::vector<std::byte> block = cut(plane, left, top, block_width, rows);
        const auto size = static_cast<tmsize_t>(block.size());
        const tmsize_t written =
            options_.tiled ? TIFFWriteEncodedTile(tiff_.get(), index, block.data(), size)
                           : TIFFWriteEncodedStrip(tiff_.get(), index, block.data(), size);
        require_tiff(written == size);
      }
    }
  }

  // Beyond the picture: 0xAB, so that padding read as picture would show.
  std::vector<std::byte> cut(int plane, std::uint32_t left, std::uint32_t top, std::uint32_t width,
                             std::uint32_t rows) const {
    const std::size_t sample = bytes_per_sample(image_.type());
    const std::size_t pixel = sample * static_cast<std::size_t>(image_.channel_count());
    const std::size_t cut_bytes = options_.planes_apart ? sample : pixel;
    std::vector<std::byte> block(cut_bytes * width * rows, std::byte{0xAB});
    for (std::uint32_t y = 0; y < rows && top + y < static_cast<std::uint32_t>(image_.height());
         ++y) {
      for (std::uint32_t x = 0; x < width && left + x < static_cast<std::uint32_t>(image_.width());
           ++x) {
        std::memcpy(&block[cut_bytes * (std::size_t{y} * width + x)],
                    &image_.bytes()[(top + y) * image_.row_bytes() + (left + x) * pixel +
                                    sample * static_cast<std::size_t>(plane)],
                    cut_bytes);
      }
    }
    return block;
  }

  const Image& image_;
  const RawTiff& options_;
  std::unique_ptr<TIFF, decltype(&TIFFClose)> tiff_;
};

inline void write_raw_tiff(const std::filesystem::path& path, const Image& image,
                           const RawTiff& options) {
  std::filesystem::remove(path);  // cheaper than overwriting on some file systems
  RawTiffWriter(path, image, options);
}

}  // namespace seamwright::test
