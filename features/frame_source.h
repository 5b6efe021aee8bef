#pragma once

#include <functional>
#include <vector>

#include "base/result.h"
#include "imaging/image.h"

namespace seamwright {

/// The upright frames of a shot, by its number, one a lens: read when they are needed, so that
/// hundreds of shots need not be in memory together.
using FrameSource = std::function<Result<std::vector<Image>>(int shot)>;

}  // namespace seamwright
