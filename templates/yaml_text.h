#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "projection/conventions.h"

namespace seamwright {

/// Shortest decimal text that reads back to the same double, the same in every locale.
[[nodiscard]] std::string number_text(double value);

/// An angle in degrees: the shortest text that reads back (rad_from_deg) to the same radians,
/// where there is one; otherwise the nearest double's.
[[nodiscard]] std::string degrees_text(double value_rad);

/// "[1, 2, 3]".
[[nodiscard]] std::string numbers_text(const std::vector<double>& values);
[[nodiscard]] std::string vector_text(const Vec3& value);

/// In double quotes, with \, " and control characters escaped (the reader refuses the last).
[[nodiscard]] std::string quoted_text(std::string_view text);

}  // namespace seamwright
