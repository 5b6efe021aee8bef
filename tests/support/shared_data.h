#pragma once

#include <cstdlib>
#include <filesystem>
#include <optional>
#include <string>

#include <catch2/catch.hpp>

namespace seamwright::test {

/// A file or folder of the outside data that SEAMWRIGHT_SHARED_DATA names. Empty, with a warning in
/// the test's output, where it is not at hand:
///
///   const auto photo = shared_data("circular_fisheye/upward_circle.jpg");
///   if (!photo) return;
[[nodiscard]] inline std::optional<std::filesystem::path> shared_data(const std::string& name) {
  const char* folder = std::getenv("SEAMWRIGHT_SHARED_DATA");
  if (folder != nullptr && *folder != '\0') {
    std::filesystem::path path = std::filesystem::path(folder) / name;
    if (std::filesystem::exists(path)) return path;
  }
  WARN("SKIPPED: outside data '" << name << "' is not there; set SEAMWRIGHT_SHARED_DATA");
  return std::nullopt;
}

}  // namespace seamwright::test
