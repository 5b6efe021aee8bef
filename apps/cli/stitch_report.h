#pragma once

#include <nlohmann/json_fwd.hpp>

#include "apps/cli/console.h"
#include "jobs/shot/stitch_shot.h"

namespace seamwright {

/// What was merged, how the panorama became, what to look at.
void tell_stitched(const Console& console, const ShotWishes& wishes, const StitchFiles& files,
                   const StitchReport& report);
[[nodiscard]] nlohmann::json stitched_as_json(const Console& console, const ShotWishes& wishes,
                                              const StitchFiles& files, const StitchReport& report);

}  // namespace seamwright
