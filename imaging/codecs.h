#pragma once

// One pair of calls a file format; read_image.h and write_image.h choose among them.

#include <filesystem>

#include "base/result.h"
#include "imaging/image.h"
#include "imaging/picture_file.h"
#include "imaging/read_image.h"
#include "imaging/write_image.h"

namespace seamwright {

[[nodiscard]] Result<Image> read_tiff(const PictureFile& file);
[[nodiscard]] Result<ImageHeader> read_tiff_header(const PictureFile& file);

[[nodiscard]] Result<Image> read_png(const PictureFile& file);
[[nodiscard]] Result<ImageHeader> read_png_header(const PictureFile& file);

[[nodiscard]] Result<Image> read_jpeg(const PictureFile& file);
[[nodiscard]] Result<ImageHeader> read_jpeg_header(const PictureFile& file);

/// 8- or 16-bit images.
[[nodiscard]] Result<void> write_png(const std::filesystem::path& path, const Image& image,
                                     const WriteOptions& options);
/// Any image; see write_image.h.
[[nodiscard]] Result<void> write_exr(const std::filesystem::path& path, const Image& image,
                                     const WriteOptions& options);
/// 8-bit images without alpha.
[[nodiscard]] Result<void> write_jpeg(const std::filesystem::path& path, const Image& image,
                                      const WriteOptions& options);

}  // namespace seamwright
