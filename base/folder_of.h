#pragma once

#include <filesystem>
#include <system_error>

namespace seamwright {

/// The folder that a file lies in, "." where its path names none.
[[nodiscard]] inline std::filesystem::path folder_of(const std::filesystem::path& file) {
  std::filesystem::path parent = file.parent_path();
  return parent.empty() ? std::filesystem::path(".") : parent;
}

/// Whether a file lies in this very folder, whatever either is called.
[[nodiscard]] inline bool lies_in(const std::filesystem::path& file,
                                  const std::filesystem::path& folder) {
  std::error_code code;
  return std::filesystem::equivalent(folder_of(file), folder, code);
}

}  // namespace seamwright
