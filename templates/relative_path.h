#pragma once

#include <filesystem>

#include "templates/strict_map.h"

namespace seamwright {

/// A path that means the same on every system: relative, with '/' between its parts. Others are
/// refused.
[[nodiscard]] std::filesystem::path read_relative_path(const StrictValue& value);

}  // namespace seamwright
