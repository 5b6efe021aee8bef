#pragma once

#include <filesystem>
#include <utility>

#include "base/own_file.h"
#include "base/result.h"

namespace seamwright {

/// Keeps others off a folder for as long as it lives: one alone, or many that share. A process that
/// dies lets go.
class FolderLock {
 public:
  using Kind = OwnFile::Lock;

  /// `file` in the folder; made where it is missing, and left there. Fails where another holds it.
  [[nodiscard]] static Result<FolderLock> take(const std::filesystem::path& file, Kind kind);

 private:
  explicit FolderLock(OwnFile file) : file_(std::move(file)) {}

  OwnFile file_;
};

}  // namespace seamwright
