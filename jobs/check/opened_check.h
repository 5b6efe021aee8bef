#pragma once

#include <string>

#include "base/progress.h"
#include "base/result.h"
#include "jobs/check/shot_check.h"
#include "jobs/shot/shot.h"

namespace seamwright {

/// check_shot() of an opened shot: with its touch, its strokes and ties, and the upright edges that
/// it marks, unless it is wished to stay as the body stood. `pictures` are its middle exposures.
[[nodiscard]] Result<ShotCheck> check_shot(const std::string& name, const Shot& shot,
                                           const ShotPictures& pictures, ShotCheckOptions options,
                                           const ProgressFn& progress = {});

}  // namespace seamwright
