#pragma once

// A file that the program keeps for itself, opened with care: never through a symbolic link, and
// only what is a plain file, no device or pipe. What is written then stays where a person looks for
// it. Journals and locks stand on this.

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <string>

#include "base/result.h"

namespace seamwright {

/// Open until this goes; a process that dies lets go of its locks.
class OwnFile {
 public:
  enum class Presence {
    there,    ///< opened where it is there
    missing,  ///< made, and refused where something has its name
    either,   ///< opened or made
  };
  enum class Folder {
    any,  ///< may be reached by links
    own,  ///< the program's own: made where it is missing, and no link itself
  };

  /// To append to and to read.
  [[nodiscard]] static Result<OwnFile> open(const std::filesystem::path& file, Presence presence,
                                            Folder folder = Folder::any);
  [[nodiscard]] static Result<OwnFile> open_to_read(const std::filesystem::path& file,
                                                    Folder folder = Folder::any);

  OwnFile(OwnFile&& other) noexcept;
  OwnFile& operator=(OwnFile&& other) noexcept;
  OwnFile(const OwnFile&) = delete;
  OwnFile& operator=(const OwnFile&) = delete;
  ~OwnFile();

  [[nodiscard]] const std::filesystem::path& path() const { return path_; }
  [[nodiscard]] int descriptor() const { return descriptor_; }

  enum class Lock { alone, shared };
  enum class Locked { yes, held_by_another };
  /// Does not wait. Fails where the file system knows no locks.
  [[nodiscard]] Result<Locked> lock(Lock how) const;

  /// From the beginning; fails where it is larger than the limit.
  [[nodiscard]] Result<std::string> bytes(std::uintmax_t limit_bytes) const;

  /// An error about this file that the system gave as `code` (errno).
  [[nodiscard]] static Error system_error(const std::filesystem::path& path, std::string_view what,
                                          int code);

 private:
  OwnFile(std::filesystem::path path, int descriptor)
      : path_(std::move(path)), descriptor_(descriptor) {}
  [[nodiscard]] static Result<OwnFile> open_with(const std::filesystem::path& file, int flags,
                                                 Folder folder);

  std::filesystem::path path_;
  int descriptor_ = -1;
};

}  // namespace seamwright
