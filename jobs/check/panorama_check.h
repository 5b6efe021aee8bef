#pragma once

#include <filesystem>

#include "base/result.h"
#include "jobs/check/findings.h"

namespace seamwright {

/// What a finished panorama tells by itself: shape, what it says of itself, clipping, level,
/// whether its left and right border meet. Its seams cannot be judged without its frames, and are
/// not.
[[nodiscard]] Result<ShotFindings> check_panorama(const std::filesystem::path& file,
                                                  const BotherRates& rates = {});

}  // namespace seamwright
