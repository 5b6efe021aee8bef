#pragma once

#include <filesystem>
#include <string>

#include "base/result.h"

namespace seamwright {

/// Copies a file to a place where there is none: written beside it, flushed, read back and held
/// against the hash, then renamed. The copy keeps the time of change. It is nobody's output: no
/// record lets the program replace it. Fails where a file lies there already, and on content that
/// is not `sha256` on the way in or out.
[[nodiscard]] Result<void> copy_verified(const std::filesystem::path& from,
                                         const std::filesystem::path& to,
                                         const std::string& sha256);

/// Where a picture goes or is already: `wanted`, or where that holds another content a name beside
/// it that is made from the hash.
struct CopyPlace {
  std::filesystem::path file;
  bool is_there = false;  ///< with this very content
};
[[nodiscard]] Result<CopyPlace> copy_place(const std::filesystem::path& wanted,
                                           const std::string& sha256);

}  // namespace seamwright
