#pragma once

// EXIF through Exiv2. Safe to call from several threads; Exiv2's own messages are silenced.

#include <cstddef>
#include <filesystem>
#include <span>

#include "base/result.h"
#include "imaging/frame.h"

namespace seamwright {

/// Shooting data of a JPEG, PNG or classic TIFF; `info.file` is left empty. Values that cannot be
/// understood are left out.
[[nodiscard]] FrameInfo read_exif(const std::filesystem::path& path);

/// Shooting data of a bare EXIF block.
[[nodiscard]] FrameInfo parse_exif(std::span<const std::byte> block);

/// Orientation (0x0112) of a bare EXIF block, 1…8; 1 when there is none.
[[nodiscard]] int exif_orientation(std::span<const std::byte> block);

}  // namespace seamwright
