#pragma once

#include <optional>

#include "base/progress.h"
#include "base/result.h"
#include "jobs/look/look.h"
#include "jobs/shot/shot.h"

namespace seamwright {

/// What a shot tells of its light before it is stitched: from its middle exposures, whose full code
/// is 1.0 in the merged light as well, rendered with plain seams at 512 px. Nothing where all is
/// black. Fails as read_pictures() does. Reads one frame a lens.
[[nodiscard]] Result<std::optional<RoomLight>> room_light_of(const Shot& shot,
                                                             const ProgressFn& progress = {});

}  // namespace seamwright
