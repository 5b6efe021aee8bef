#pragma once

#include "imaging/image.h"

namespace seamwright {

enum class Borders : std::uint8_t {
  repeat,  ///< the border's samples go on
  wrap,    ///< the columns go around, as a panorama's do
};

/// The picture at another size, same kind: Catmull–Rom on the code values
/// (sampling/picture_sampler.h says why), widened to the output's pixels where it gets smaller.
/// Results stay within the range of the samples they were made from. `width`, `height` > 0.
[[nodiscard]] Image resized(const Image& image, int width, int height, Borders borders);

}  // namespace seamwright
