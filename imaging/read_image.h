#pragma once

// TIFF, PNG, JPEG and raw in, told apart by their first bytes and not by their names.
//
// Pixels come out upright (TIFF and EXIF orientation is applied), alpha unassociated, in the
// machine's byte order. The ICC profile is carried byte for byte. Without one, integer samples are
// sRGB-coded and float samples are linear.
//
// TIFF   8- and 16-bit unsigned and 32-bit float; grey or RGB with or without alpha; strips and
//        tiles, both planar layouts, both byte orders, classic and BigTIFF; uncompressed, PackBits,
//        LZW, deflate.
// PNG    all kinds; palettes and 1, 2, 4 bits are widened to 8.
// JPEG   8-bit grey and colour; not the four-ink kinds.
// raw    DNG and what else LibRaw opens: linear 16-bit in Rec. ITU-R BT.2020 (raw_reader.h).
//
// A broken or truncated file is an error, never a partial picture. A size that the file cannot
// possibly hold, and one beyond the limit of picture_limit.h, is refused before memory is taken.
// Float samples that are not finite or mean no light are refused with their number
// (sample_check.h).

#include <cstddef>
#include <filesystem>
#include <string>

#include "base/result.h"
#include "imaging/image.h"

namespace seamwright {

/// The whole picture.
[[nodiscard]] Result<Image> read_image(const std::filesystem::path& path);

/// What a file says about its picture, without reading the pixels.
struct ImageHeader {
  std::string format;  ///< "TIFF", "BigTIFF", "PNG", "JPEG" or "raw"
  int width = 0;       ///< of the upright picture
  int height = 0;      ///< of the upright picture
  Channels channels = Channels::rgb;
  SampleType type = SampleType::u8;
  int bits_per_sample = 8;      ///< as stored
  std::string compression;      ///< "none", "LZW", "deflate", "PackBits" or "JPEG"
  bool tiled = false;           ///< TIFF in tiles rather than strips
  int orientation = 1;          ///< as stored, 1…8 (TIFF 6.0 tag 274)
  std::size_t icc_bytes = 0;    ///< size of the ICC profile; 0: none
  std::string icc_description;  ///< its description; empty when it has none or is broken
  /// What the decoder keeps of a pixel in memory beside its samples while it works.
  int decoder_bytes_per_pixel = 0;
};

[[nodiscard]] Result<ImageHeader> read_image_header(const std::filesystem::path& path);

}  // namespace seamwright
