#pragma once

#include "imaging/image.h"

namespace seamwright {

/// The same code values in another sample type: white stays white (255 ↔ 65535 ↔ 1.0), one
/// rounding to nearest, floats clamped to 0…1 on the way to integers, NaN to 0. u8 → u16 → u8 and
/// u16 → f32 → u16 give every value back.
[[nodiscard]] Image to_type(const Image& image, SampleType type);

/// One float channel of code values, white 1.0: luma with the weights of Rec. ITU-R BT.709
/// (0.2126, 0.7152, 0.0722). Alpha and profile are dropped.
[[nodiscard]] Image to_grey_f32(const Image& image);

}  // namespace seamwright
