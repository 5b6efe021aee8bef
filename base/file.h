#pragma once

// Files that are either whole or not there: every output is written to a temporary beside its
// destination, flushed to the disk and renamed over it.

#include <filesystem>
#include <string>
#include <string_view>

#include "base/result.h"

namespace seamwright {

/// A file being written. Write to `temporary()` with any library, then `commit()`. When it is
/// destroyed without a commit the temporary is removed and the destination is as it was.
class PendingFile {
 public:
  /// Fails when the folder is missing or not writable, or the destination is a folder.
  [[nodiscard]] static Result<PendingFile> create(const std::filesystem::path& destination);

  PendingFile(PendingFile&& other) noexcept;
  PendingFile& operator=(PendingFile&& other) noexcept;
  PendingFile(const PendingFile&) = delete;
  PendingFile& operator=(const PendingFile&) = delete;
  ~PendingFile();

  [[nodiscard]] const std::filesystem::path& temporary() const { return temporary_; }
  [[nodiscard]] const std::filesystem::path& destination() const { return destination_; }

  /// fsync, rename, fsync of the folder. At most once.
  [[nodiscard]] Result<void> commit();

 private:
  PendingFile(std::filesystem::path temporary, std::filesystem::path destination);
  void discard() noexcept;

  std::filesystem::path temporary_;
  std::filesystem::path destination_;
};

/// Whole text or byte file at once, through a PendingFile.
[[nodiscard]] Result<void> write_file(const std::filesystem::path& destination,
                                      std::string_view bytes);

/// Whole file into memory. `limit_bytes` guards against a wrong path to something huge.
[[nodiscard]] Result<std::string> read_file(const std::filesystem::path& path,
                                            std::size_t limit_bytes = std::size_t{64} << 20U);

/// SHA-256 (FIPS 180-4) of a file's bytes, lower-case hex.
[[nodiscard]] Result<std::string> sha256_of_file(const std::filesystem::path& path);

/// SHA-256 of bytes, lower-case hex.
[[nodiscard]] std::string sha256(std::string_view bytes);

}  // namespace seamwright
