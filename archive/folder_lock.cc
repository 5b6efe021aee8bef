#include "archive/folder_lock.h"

#include <cerrno>
#include <cstring>
#include <utility>

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <unistd.h>

namespace seamwright {

Result<FolderLock> FolderLock::take(const std::filesystem::path& file, Kind kind) {
  std::error_code code;
  if (file.has_parent_path()) std::filesystem::create_directories(file.parent_path(), code);
  const int descriptor = ::open(file.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0666);
  if (descriptor < 0) {
    return fail({.kind = ErrorKind::io,
                 .where = file.string(),
                 .field = "lock",
                 .what = fmt::format("cannot be written: {}", std::strerror(errno)),
                 .remedy = "choose an output folder you may write to"});
  }
  FolderLock lock(descriptor);
  const int how = kind == Kind::alone ? LOCK_EX : LOCK_SH;
  if (::flock(descriptor, how | LOCK_NB) == 0) return lock;
  return fail({.kind = ErrorKind::io,
               .where = file.parent_path().parent_path().string(),
               .field = "lock",
               .what = "another run works on this folder",
               .remedy = "wait for it, or choose another output folder"});
}

FolderLock::FolderLock(FolderLock&& other) noexcept
    : descriptor_(std::exchange(other.descriptor_, -1)) {}

FolderLock::~FolderLock() {
  if (descriptor_ >= 0) ::close(descriptor_);
}

}  // namespace seamwright
