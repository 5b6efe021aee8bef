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

/// The places of a shot's findings as a plain stitch shows them, 30° wide: the bytes of a JPEG for
/// each finding, in their order. Empty where one has no place, it cannot be shown, or four worse
/// ones are shown already.
[[nodiscard]] std::vector<std::string> pictures_of_places(const Rig& rig,
                                                          std::span<const Frame> frames,
                                                          const ShotFindings& found);

/// What was checked as one page to read, in this order: no script, nothing fetched, pictures
/// inside. The same input gives the same bytes.
[[nodiscard]] std::string check_page(const std::vector<Checked>& all);

}  // namespace seamwright
