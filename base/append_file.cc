#include "base/append_file.h"

#include <cerrno>
#include <utility>

#include <sys/stat.h>
#include <unistd.h>

namespace seamwright {
namespace fs = std::filesystem;

namespace {

Error append_error(const fs::path& path, std::string what, std::string remedy) {
  return {.kind = ErrorKind::user_input,
          .where = path.string(),
          .field = {},
          .what = std::move(what),
          .remedy = std::move(remedy)};
}

}  // namespace

Result<AppendFile> AppendFile::open(const fs::path& path, Presence presence, Folder folder) {
  auto own = OwnFile::open(path, presence, folder);
  if (!own) return tl::unexpected(own.error());
  const auto locked = own->lock(OwnFile::Lock::alone);
  if (!locked) {
    if (presence == Presence::missing) ::unlink(path.c_str());
    return tl::unexpected(locked.error());
  }
  if (*locked == OwnFile::Locked::held_by_another) {
    return fail(
        append_error(path, "is being written by another program", "close that program first"));
  }
  struct stat found {};
  if (::fstat(own->descriptor(), &found) != 0) {
    return fail(OwnFile::system_error(path, "cannot be read", errno));
  }
  AppendFile file(std::move(*own));
  file.size_bytes_ = static_cast<std::uintmax_t>(found.st_size);
  return file;
}

Result<std::string> AppendFile::look(const fs::path& path, std::uintmax_t limit_bytes,
                                     Folder folder) {
  const auto file = OwnFile::open_to_read(path, folder);
  if (!file) return tl::unexpected(file.error());
  return file->bytes(limit_bytes);
}

Result<std::string> AppendFile::read(std::uintmax_t limit_bytes) const {
  return file_.bytes(limit_bytes);
}

Result<void> AppendFile::check_untouched() const {
  struct stat open_one {};
  struct stat named {};
  const bool still_there = ::fstat(file_.descriptor(), &open_one) == 0 &&
                           ::lstat(file_.path().c_str(), &named) == 0 &&
                           open_one.st_dev == named.st_dev && open_one.st_ino == named.st_ino;
  const auto size = static_cast<std::uintmax_t>(open_one.st_size);
  if (still_there && (size == size_bytes_ || (torn_ && size > size_bytes_))) return {};
  return fail(append_error(
      file_.path(),
      still_there ? "was changed by another program" : "was removed or replaced meanwhile",
      "close the other program, then start this one again"));
}

bool AppendFile::write_whole(std::string_view bytes) const {
  while (!bytes.empty()) {
    const auto written = ::write(file_.descriptor(), bytes.data(), bytes.size());
    if (written < 0 && errno == EINTR) continue;
    if (written <= 0) return false;
    bytes.remove_prefix(static_cast<std::size_t>(written));
  }
  return true;
}

Result<void> AppendFile::append(std::string_view line) {
  if (auto untouched = check_untouched(); !untouched) return untouched;
  if (torn_) {
    if (auto mended = cut(size_bytes_); !mended) return mended;
  }
  const std::string bytes = std::string(line) + "\n";
  if (write_whole(bytes) && ::fsync(file_.descriptor()) == 0) {
    size_bytes_ += bytes.size();
    return {};
  }
  const int code = errno;
  torn_ = ::ftruncate(file_.descriptor(), static_cast<off_t>(size_bytes_)) != 0;
  return fail(OwnFile::system_error(file_.path(), "cannot be written", code));
}

Result<void> AppendFile::cut(std::uintmax_t bytes) {
  if (::ftruncate(file_.descriptor(), static_cast<off_t>(bytes)) != 0) {
    return fail(OwnFile::system_error(file_.path(), "cannot be mended", errno));
  }
  size_bytes_ = bytes;
  torn_ = false;
  return {};
}

}  // namespace seamwright
