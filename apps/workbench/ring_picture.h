#pragma once

#include "base/result.h"
#include "imaging/image.h"
#include "projection/ribbon.h"

namespace seamwright::workbench {

/// One lens' colours on a ribbon at infinity, RGB u8 for a screen: bilinear, black beyond the lens'
/// field. For people to look at; matching reads the frames themselves.
[[nodiscard]] Image ring_picture(const Image& frame, const MountedLens& lens,
                                 const RibbonGrid& grid);

/// RGB u8 as a screen shows a picture's codes: grey three times, light encoded as sRGB.
[[nodiscard]] Image for_screen(const Image& picture);

}  // namespace seamwright::workbench
