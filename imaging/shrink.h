#pragma once

#include "imaging/image.h"

namespace seamwright {

/// Every `factor` × `factor` pixels as their mean, of code values as they are; ICC profile and
/// transfer go with it. Width and height must be multiples of the factor (asserted).
[[nodiscard]] Image shrunk(const Image& image, int factor);

}  // namespace seamwright
