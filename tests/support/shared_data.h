#pragma once

#include <cstdlib>
#include <filesystem>
#include <optional>
#include <string>

#include "tests/support/skip.h"

namespace seamwright::test {

/// A file or folder of the outside data that SEAMWRIGHT_SHARED_DATA names. Empty where it is not at
/// hand, and the case is skipped:
///
///   const auto photo = shared_data("circular_fisheye/upward_circle.jpg");
///   if (!photo) return;
[[nodiscard]] inline std::optional<std::filesystem::path> shared_data(const std::string& name) {
  const char* folder = std::getenv("SEAMWRIGHT_SHARED_DATA");
  if (folder != nullptr && *folder != '\0') {
    std::filesystem::path path = std::filesystem::path(folder) / name;
    if (std::filesystem::exists(path)) return path;
  }
  skip("outside data '" + name + "' is not there; set SEAMWRIGHT_SHARED_DATA");
  return std::nullopt;
}

}  // namespace seamwright::test
