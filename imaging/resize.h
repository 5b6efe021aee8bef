#pragma once

// Pictures at other sizes. Which to take:
//
//   resized   for pictures that people look at, at any size: sharp, with a kernel
//   shrunk    for what is computed with: a whole factor, any samples, no kernel that could ring;
//             what is left is exactly a frame of a coarser body
//   averaged  the same for one plane at any smaller size

#include <cstdint>

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

/// Every `factor` × `factor` pixels as their mean, of code values as they are; ICC profile and
/// transfer go with it. Width and height must be multiples of the factor (asserted).
[[nodiscard]] Image shrunk(const Image& image, int factor);

/// A grey f32 plane `width_px` wide, at most its own width (asserted), its shape kept to a pixel:
/// each pixel is the mean of the area that it covers.
[[nodiscard]] Image averaged(const Image& plane, int width_px);

}  // namespace seamwright
