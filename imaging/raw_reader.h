#pragma once

// Raw frames through LibRaw, as light: no tone curve, no automatic brightening, nothing sharpened.
//
// Black is taken off, the colours are scaled by the camera's own white balance (its "as shot"
// values), so that the least amplified one keeps its place: all three then clip at 1, and what is
// clipped comes out white, not tinted (highlights are clipped, not rebuilt). The mosaic is filled
// by LibRaw's AHD. The file's orientation is applied. 16 bits, linear.

#include <array>

#include "base/result.h"
#include "imaging/image.h"
#include "imaging/picture_file.h"
#include "imaging/read_image.h"

namespace seamwright {

/// True for what LibRaw opens and what is no TIFF, PNG or JPEG by its name.
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
