#pragma once

#include "base/result.h"
#include "imaging/image.h"

namespace seamwright {

/// The colours of `image` as code values of `target`'s profile and channels (grey or RGB), in
/// float: relative colorimetric with lcms2, values beyond 0…1 kept. Alpha stays and is not curved.
/// The result carries `target`'s profile. Fails on broken profiles.
[[nodiscard]] Result<Image> converted_to(const Image& image, const Image& target);

}  // namespace seamwright
