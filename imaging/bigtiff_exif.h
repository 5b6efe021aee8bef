#pragma once

#include "imaging/frame.h"
#include "imaging/picture_file.h"

namespace seamwright {

/// Shooting data of a BigTIFF, which Exiv2 cannot read; `info.file` is left empty. Fractions have
/// float precision.
[[nodiscard]] FrameInfo read_bigtiff_exif(const PictureFile& file);

}  // namespace seamwright
