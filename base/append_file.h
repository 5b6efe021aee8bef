#pragma once

// A file that grows by whole lines and belongs to one program at a time: for journals, which must
// outlive a kill, a flat battery and a full disk.
//
// A line is on the disk before append() says so. One that could not be written whole is cut off
// again, so that the next can follow. A kill can still leave the last line torn; who reads the file
// drops what stands behind the last line end.

#include <cstdint>
#include <filesystem>
#include <string>
#include <string_view>

#include "base/own_file.h"
#include "base/result.h"

namespace seamwright {

/// Open and kept from other programs for as long as it lives; a process that dies lets go. Not
/// thread-safe.
class AppendFile {
 public:
  using Presence = OwnFile::Presence;
  using Folder = OwnFile::Folder;

  /// Opened with the care of OwnFile. Fails where another program has it open.
  [[nodiscard]] static Result<AppendFile> open(const std::filesystem::path& path, Presence presence,
                                               Folder folder = Folder::any);
  /// The bytes of a file that another program may be writing to, as carefully.
  [[nodiscard]] static Result<std::string> look(const std::filesystem::path& path,
                                                std::uintmax_t limit_bytes,
                                                Folder folder = Folder::any);

  /// As it was opened and this value wrote it.
  [[nodiscard]] std::uintmax_t size_bytes() const { return size_bytes_; }
  [[nodiscard]] Result<std::string> read(std::uintmax_t limit_bytes) const;

  /// One line, without its line end, on the disk when this returns. Fails without a trace, also
  /// where the file was changed, removed or replaced by anybody else.
  [[nodiscard]] Result<void> append(std::string_view line);
  /// Keeps the first bytes only.
  [[nodiscard]] Result<void> cut(std::uintmax_t bytes);

 private:
  explicit AppendFile(OwnFile file) : file_(std::move(file)) {}
  [[nodiscard]] Result<void> check_untouched() const;
  [[nodiscard]] bool write_whole(std::string_view bytes) const;

  OwnFile file_;
  std::uintmax_t size_bytes_ = 0;
  bool torn_ = false;  ///< bytes of a failed line may stand behind size_bytes_
};

}  // namespace seamwright
