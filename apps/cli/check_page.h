#pragma once

#include <filesystem>
#include <span>
#include <string>
#include <vector>

#include "apps/cli/check_report.h"
#include "base/result.h"
#include "imaging/frame.h"
#include "projection/rig.h"

namespace seamwright {

/// The worst place of a shot as a plain stitch shows it, 30° wide: the bytes of a JPEG. Empty where
/// no finding has a place, or it cannot be shown.
[[nodiscard]] std::string picture_of_worst(const Rig& rig, std::span<const Frame> frames,
                                           const ShotFindings& found);

/// What was checked as one page to read, in this order: no script, nothing fetched, pictures
/// inside. The same input gives the same bytes.
[[nodiscard]] std::string check_page(const std::vector<Checked>& all);

}  // namespace seamwright
