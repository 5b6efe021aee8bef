#pragma once

#include <string_view>

#include "base/result.h"

namespace seamwright {

/// The complaint about an option of a part of the seam's making, for example
/// bad_option("seam", "step", -1, "in 0…100").
[[nodiscard]] Error bad_option(std::string_view part, std::string_view field, double value,
                               std::string_view constraint);

}  // namespace seamwright
