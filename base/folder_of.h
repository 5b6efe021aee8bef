#pragma once

#include <filesystem>

namespace seamwright {

/// The folder that a file lies in, "." where its path names none.
[[nodiscard]] inline std::filesystem::path folder_of(const std::filesystem::path& file) {
  std::filesystem::path parent = file.parent_path();
  return parent.empty() ? std::filesystem::path(".") : parent;
}

}  // namespace seamwright
