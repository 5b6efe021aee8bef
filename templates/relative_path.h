#pragma once

#include <filesystem>
#include <string>

#include "templates/strict_map.h"

namespace seamwright {

/// A path that means the same on every system: relative, with '/' between its parts. Others are
/// refused. A name that begins as a home or a drive would ("~hall.tif", "a:1.tif") stands after
/// "./", which is taken off.
[[nodiscard]] std::filesystem::path read_relative_path(const StrictValue& value);
/// As read_relative_path takes it back.
[[nodiscard]] std::string relative_path_text(const std::filesystem::path& path);

}  // namespace seamwright
