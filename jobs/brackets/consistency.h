#pragma once

#include "imaging/clipping.h"
#include "imaging/plane.h"
#include "jobs/brackets/exposed.h"
#include "jobs/brackets/noise_model.h"

namespace seamwright {

/// What two frames of one scene may differ by besides their noise.
struct ConsistencyOptions {
  double clip_level = clipping::kBracketLevel;
  double gain_error = 0.01;      ///< of the exposure ratio and the tone curve, relative
  double misalignment_px = 0.2;  ///< left after alignment; times the picture's gradient
};

/// 255 where two aligned frames show different things, `shorter` having the smaller exposure.
///
/// Over 5 × 5 pixels two statistics are taken of the difference of light: its mean, against its
/// standard error (5.5 sigmas in any channel), and its mean square over the variance expected
/// (1 + 6 sigmas of its own spread), which finds texture that moved. Where the longer frame is
/// clipped, the shorter one must say within 2 pixels that it had to be; where both are, nothing can
/// be said and nothing is found. Specks of fewer than 9 pixels are dropped.
[[nodiscard]] Mask inconsistent_pixels(const Exposed& shorter, const Exposed& longer,
                                       const NoiseModel& noise,
                                       const ConsistencyOptions& options = {});

}  // namespace seamwright
