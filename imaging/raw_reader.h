#pragma once

// Raw frames through LibRaw, as light: no tone curve, no automatic brightening, nothing sharpened.
//
// The black level is subtracted. The camera's own white balance (its "as shot" values) scales the
// colours, the smallest factor being 1: all three then clip at 1, so clipped highlights are white
// and not tinted (they are not rebuilt). LibRaw's AHD interpolates the mosaic. The file's
// orientation is applied. The result has 16 bits and is linear.

#include <array>

#include "base/result.h"
#include "imaging/image.h"
#include "imaging/picture_file.h"
#include "imaging/read_image.h"

namespace seamwright {

/// True for files that LibRaw opens and whose names are not those of a TIFF, PNG or JPEG.
[[nodiscard]] bool is_raw_file(const std::filesystem::path& path);

/// A raw frame in the camera's own colours, where each channel clips by itself.
struct CameraPicture {
  Image image;  ///< u16 RGB; `transfer` linear, no profile
  /// Row-major; camera colours to linear Rec. ITU-R BT.2020. Rows sum to 1: neutral stays neutral.
  std::array<double, 9> wide_from_camera{1, 0, 0, 0, 1, 0, 0, 0, 1};
};
[[nodiscard]] Result<CameraPicture> read_camera_picture(const std::filesystem::path& path);

/// Float camera colours into the working space, linear Rec. ITU-R BT.2020, with its profile.
/// Colours that lie outside it keep their negative parts.
[[nodiscard]] Image in_working_space(const Image& camera_light,
                                     const std::array<double, 9>& wide_from_camera);

[[nodiscard]] Result<Image> read_raw(const PictureFile& file);
[[nodiscard]] Result<ImageHeader> read_raw_header(const PictureFile& file);

}  // namespace seamwright
