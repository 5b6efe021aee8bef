#pragma once

#include <filesystem>
#include <vector>

#include "base/result.h"
#include "bench/opencv_stitch.h"
#include "projection/rig.h"

namespace seamwright::bench {

/// Our own stitch, one clock a stage: read, gains, depth, seam, render (into nowhere), and the
/// write of as many bytes. The program overlaps the last two.
[[nodiscard]] Result<std::vector<StageSeconds>> our_stages(
    const Rig& rig, const std::vector<std::filesystem::path>& frames,
    const std::filesystem::path& out, int width_px, bool depth);

}  // namespace seamwright::bench
