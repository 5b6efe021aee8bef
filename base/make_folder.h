#pragma once

#include <filesystem>
#include <string>

#include "base/result.h"

namespace seamwright {

/// Makes a folder and those above it, where they are missing. `field`: what named it, if anything.
[[nodiscard]] Result<void> make_folder(const std::filesystem::path& folder, std::string field = {});

}  // namespace seamwright
