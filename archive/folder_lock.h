#pragma once

#include <filesystem>

#include "base/result.h"

namespace seamwright {

/// Keeps others off a folder for as long as it lives: one alone, or many that share. A process that
/// dies lets go.
class FolderLock {
 public:
  enum class Kind { alone, shared };

  /// `file` in the folder; made where it is missing, and left there. Fails where another holds it.
  [[nodiscard]] static Result<FolderLock> take(const std::filesystem::path& file, Kind kind);

  FolderLock(FolderLock&& other) noexcept;
  FolderLock& operator=(FolderLock&& other) = delete;
  FolderLock(const FolderLock&) = delete;
  FolderLock& operator=(const FolderLock&) = delete;
  ~FolderLock();

 private:
  explicit FolderLock(int descriptor) : descriptor_(descriptor) {}

  int descriptor_ = -1;
};

}  // namespace seamwright
