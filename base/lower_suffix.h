#pragma once

#include <algorithm>
#include <cctype>
#include <filesystem>
#include <string>

namespace seamwright {

/// ".tif" of "HALL.TIF": a file's ending as programs compare it, ASCII letters small.
[[nodiscard]] inline std::string lower_suffix(const std::filesystem::path& file) {
  std::string suffix = file.extension().string();
  std::transform(suffix.begin(), suffix.end(), suffix.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  return suffix;
}

}  // namespace seamwright
