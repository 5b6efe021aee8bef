#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>

namespace seamwright {

/// A file as it lies on the disk, without reading it. Equal stamps are taken for equal content.
///
/// The time of change (mtime) can be set by anybody and is kept by many copies. The time of the
/// last change of status (ctime) is the system's own: it moves with every write, rename and setting
/// of times, and no program can set it back. The inode tells files apart that took each other's
/// name. The device's number is left out: it may change when a disk is mounted again.
struct Stamp {
  std::uintmax_t bytes = 0;
  std::int64_t changed_ns = 0;  ///< mtime, since 1970
  std::int64_t status_ns = 0;   ///< ctime, since 1970
  std::uint64_t inode = 0;

  bool operator==(const Stamp&) const = default;
};

/// Of the file that a link leads to; nothing where there is no file.
[[nodiscard]] std::optional<Stamp> stamp_of(const std::filesystem::path& file);

}  // namespace seamwright
