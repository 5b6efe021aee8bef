#pragma once

// Files that are either whole or not there: every output is written to a temporary beside its
// destination, flushed to the disk and renamed over it. base/file_guard.h decides what may be
// replaced at all.

#include <filesystem>
#include <string>
#include <string_view>

#include "base/file_guard.h"
#include "base/leftovers.h"
#include "base/result.h"

namespace seamwright {

/// A file being written. Write to `temporary()` with any library, then `commit()`. When it is
/// destroyed without a commit the temporary is removed and the destination is as it was.
class PendingFile {
 public:
  /// Fails when the folder is missing or not writable, or the destination may not be written
  /// (base/file_guard.h).
  [[nodiscard]] static Result<PendingFile> create(const std::filesystem::path& destination,
                                                  Replacing replacing = Replacing::recorded);

  [[nodiscard]] const std::filesystem::path& temporary() const { return temporary_.path(); }
  [[nodiscard]] const std::filesystem::path& destination() const { return destination_; }

  /// Flushes the file to the disk, notes what was written (base/file_record.h), asks once more
  /// whether the destination may be written, renames, and flushes the folder. At most once.
  [[nodiscard]] Result<void> commit();

 private:
  PendingFile(HeldTemporary temporary, std::filesystem::path destination, Replacing replacing)
      : temporary_(std::move(temporary)),
        destination_(std::move(destination)),
        replacing_(replacing) {}

  HeldTemporary temporary_;
  std::filesystem::path destination_;
  Replacing replacing_;
};

/// A temporary folder on the disk of `destination`. It is removed with its contents when this is
/// destroyed, or by the next command if the process is killed.
[[nodiscard]] Result<HeldTemporary> scratch_beside(const std::filesystem::path& destination);

/// Writes a whole file, text or bytes, through a PendingFile.
[[nodiscard]] Result<void> write_file(const std::filesystem::path& destination,
                                      std::string_view bytes,
                                      Replacing replacing = Replacing::recorded);

/// Reads a whole file into memory. `limit_bytes` guards against a wrong path to something huge.
[[nodiscard]] Result<std::string> read_file(const std::filesystem::path& path,
                                            std::size_t limit_bytes = std::size_t{64} << 20U);

/// SHA-256 (FIPS 180-4) of a file's bytes, lower-case hex.
[[nodiscard]] Result<std::string> sha256_of_file(const std::filesystem::path& path);

/// SHA-256 of bytes, lower-case hex.
[[nodiscard]] std::string sha256(std::string_view bytes);

}  // namespace seamwright
