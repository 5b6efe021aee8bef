#pragma once

#include <filesystem>
#include <optional>
#include <string>

#include "base/result.h"
#include "imaging/frame.h"
#include "imaging/image.h"
#include "imaging/tiff_writer.h"

namespace seamwright {

struct WriteOptions {
  TiffCompression tiff_compression = TiffCompression::none;
  BigTiff bigtiff = BigTiff::when_needed;
  int jpeg_quality = 92;               ///< 1…100; from 90 on without colour subsampling
  std::optional<FrameInfo> info = {};  ///< written as EXIF (`file` is not used)
  std::string xmp = {};                ///< XMP packet, for example `gpano_xmp(...)`; empty: none
};

/// Writes by suffix: .tif .tiff .png .jpg .jpeg .exr, in any case. Whole or not at all.
///
/// The ICC profile goes out byte for byte. Where there is none and `image.transfer` is not what a
/// reader would take for granted (sRGB for integers, linear for floats), a small profile is put in
/// that says it. PNG takes 8 and 16 bits; JPEG takes 8, and 16 and float rounded to 8 once. EXR
/// (OpenEXR 3, lossless zip) takes every type: linear light with white at 1 by the picture's own
/// tone curves, 32-bit from float and half floats otherwise, the profile's primaries as
/// `chromaticities`; of `info` it holds what OpenEXR has standard attributes for (time, exposure,
/// aperture, ISO, place), and no XMP. Alpha does not fit JPEG and is refused; float does not fit
/// PNG and is refused.
[[nodiscard]] Result<void> write_image(const std::filesystem::path& path, const Image& image,
                                       const WriteOptions& options = {});

/// A JPEG file in memory, for pages and answers: of a grey or RGB u8 picture no side of which is
/// above 65500 pixels (asserted), quality as in WriteOptions. Empty where memory ran out.
[[nodiscard]] std::string jpeg_bytes(const Image& picture, int quality);

}  // namespace seamwright
