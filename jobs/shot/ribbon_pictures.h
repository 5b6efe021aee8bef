#pragma once

#include <filesystem>

#include "base/result.h"
#include "compose/render/seam_plan.h"

namespace seamwright {

/// Writes what the seams were chosen from, for people who want to see, into `folder` (made if it is
/// missing). For each pair, `lens0-lens1` for example:
///
///   lens0-lens1.infinity-0.png …-1.png   both lenses' views of the ribbon as if all were far
///   lens0-lens1.warped-0.png   …-1.png   the same after the warp: what joins lies on one pixel
///   lens0-lens1.depth.png                inverse distance in viridis, 0 dark … the nearest bright
///   lens0-lens1.depth.tif                the same as float, 1/m
///   lens0-lens1.seam.png                 the composite with the seam's line over it
///
/// The plan must have kept its views.
[[nodiscard]] Result<void> write_ribbon_pictures(const SeamPlan& plan,
                                                 const std::filesystem::path& folder);

}  // namespace seamwright
