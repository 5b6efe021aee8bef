#pragma once

// A file that grows by whole lines and belongs to one program at a time: for journals, which must
// outlive a kill, a flat battery and a full disk.
//
// A line is on the disk before append() says so. One that could not be written whole is cut off
// again, so that the next can follow. A kill can still leave the last line torn; who reads the file
// drops what stands behind the last line end.

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <string>
#include <string_view>

#include "base/result.h"

namespace seamwright {

/// Open and kept from other programs (flock) for as long as it lives; a process that dies lets go.
/// Not thread-safe.
class AppendFile {
 public:
  enum class Presence {
    there,    ///< opened where it is there
    missing,  ///< made, and refused where something has its name
    either,   ///< opened or made
  };
  /// Never through a symbolic link, and only what is a plain file. Fails where another program has
  /// it open.
  [[nodiscard]] static Result<AppendFile> open(const std::filesystem::path& path,
                                               Presence presence);
  /// The bytes of a file that another program may be writing to, as carefully.
  [[nodiscard]] static Result<std::string> look(const std::filesystem::path& path,
                                                std::uintmax_t limit_bytes);

  AppendFile(AppendFile&& other) noexcept;
  AppendFile& operator=(AppendFile&& other) noexcept;
  AppendFile(const AppendFile&) = delete;
  AppendFile& operator=(const AppendFile&) = delete;
  ~AppendFile();

  /// As it was opened and this value wrote it.
  [[nodiscard]] std::uintmax_t size_bytes() const { return size_bytes_; }
  [[nodiscard]] Result<std::string> read(std::uintmax_t limit_bytes) const;

  /// One line, without its line end, on the disk when this returns. Fails without a trace, also
  /// where the file was changed, removed or replaced by anybody else.
  [[nodiscard]] Result<void> append(std::string_view line);
  /// Keeps the first bytes only.
  [[nodiscard]] Result<void> cut(std::uintmax_t bytes);

 private:
  AppendFile(std::filesystem::path path, int descriptor);
  [[nodiscard]] Result<void> check_untouched() const;
  [[nodiscard]] bool write_whole(std::string_view bytes) const;

  std::filesystem::path path_;
  int descriptor_ = -1;
  std::uintmax_t size_bytes_ = 0;
  bool torn_ = false;  ///< bytes of a failed line may stand behind size_bytes_
};

}  // namespace seamwright
