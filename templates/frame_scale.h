#pragma once

#include "base/result.h"
#include "imaging/frame.h"
#include "projection/rig.h"
#include "projection/tie.h"

namespace seamwright {

/// Template pixels per pixel of a frame of the same framing. Fails on a frame of another shape;
/// `name` stands in for it in the error.
[[nodiscard]] Result<double> template_scale(const Rig& rig, const Image& frame,
                                            const std::string& name);

/// A tie of frames in the template's pixels.
[[nodiscard]] Tie scaled_tie(Tie tie, double scale);

}  // namespace seamwright
