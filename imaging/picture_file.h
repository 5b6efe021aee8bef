#pragma once

#include <cstdint>
#include <filesystem>

#include "base/result.h"

namespace seamwright {

enum class PictureKind : std::uint8_t { tiff, bigtiff, png, jpeg, raw };

/// A picture file that exists and whose first bytes say what it is.
struct PictureFile {
  std::filesystem::path path;
  std::uint64_t bytes = 0;
  PictureKind kind = PictureKind::tiff;
};

/// Fails when the file is missing, unreadable, empty or of another kind.
[[nodiscard]] Result<PictureFile> find_picture(const std::filesystem::path& path);

}  // namespace seamwright
