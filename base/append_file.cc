#include "base/append_file.h"

#include <cerrno>
#include <cstring>
#include <utility>

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

namespace seamwright {
namespace fs = std::filesystem;

namespace {

Error append_error(const fs::path& path, ErrorKind kind, std::string what, std::string remedy) {
  return {.kind = kind,
          .where = path.string(),
          .field = {},
          .what = std::move(what),
          .remedy = std::move(remedy)};
}

Error refused_by_system(const fs::path& path, std::string_view what, int code) {
  return append_error(path, ErrorKind::io, fmt::format("{}: {}", what, std::strerror(code)),
                      "make its folder writable and free some space on the disk");
}

Error not_plain(const fs::path& path, const char* what) {
  return append_error(path, ErrorKind::user_input, what,
                      "move it out of the way: nothing is written to what lies elsewhere");
}

Error open_error(const fs::path& path, int code) {
  struct stat found {};
  if (::lstat(path.c_str(), &found) == 0 && !S_ISREG(found.st_mode)) {
    return not_plain(path, S_ISLNK(found.st_mode)   ? "is a symbolic link"
                           : S_ISDIR(found.st_mode) ? "is a folder"
                                                    : "is not a plain file");
  }
  if (code == EEXIST) {
    return append_error(path, ErrorKind::user_input, "was begun by another program",
                        "close that program first");
  }
  return refused_by_system(path, "cannot be opened", code);
}

// A descriptor of a plain file, or why there is none. Without O_NONBLOCK a pipe would wait for its
// other end.
Result<int> open_plain(const fs::path& path, int flags) {
  const int descriptor =
      ::open(path.c_str(), flags | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC | O_NOCTTY, 0666);
  if (descriptor < 0) return fail(open_error(path, errno));
  struct stat found {};
  if (::fstat(descriptor, &found) == 0 && S_ISREG(found.st_mode)) return descriptor;
  ::close(descriptor);
  return fail(not_plain(path, "is not a plain file"));
}

// Makes the file's name as lasting as its bytes; a folder that cannot be opened for that is let
// pass.
void sync_name_of(const fs::path& path) {
  const fs::path folder = path.has_parent_path() ? path.parent_path() : fs::path(".");
  const int descriptor = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (descriptor < 0) return;
  ::fsync(descriptor);
  ::close(descriptor);
}

Result<std::string> read_all(const fs::path& path, int descriptor, std::uintmax_t limit_bytes) {
  constexpr std::size_t kBlock = std::size_t{1} << 16U;
  std::string bytes;
  for (;;) {
    const std::size_t begin = bytes.size();
    bytes.resize(begin + kBlock);
    const auto got = ::pread(descriptor, bytes.data() + begin, kBlock, static_cast<off_t>(begin));
    bytes.resize(begin + (got > 0 ? static_cast<std::size_t>(got) : 0));
    if (got == 0) return bytes;
    if (got < 0 && errno != EINTR) return fail(refused_by_system(path, "cannot be read", errno));
    if (bytes.size() > limit_bytes) {
      return fail(append_error(path, ErrorKind::user_input,
                               fmt::format("is larger than {} bytes", limit_bytes),
                               "check that this is the right file, or move it away"));
    }
  }
}

}  // namespace

AppendFile::AppendFile(fs::path path, int descriptor)
    : path_(std::move(path)), descriptor_(descriptor) {}

AppendFile::AppendFile(AppendFile&& other) noexcept
    : path_(std::move(other.path_)),
      descriptor_(std::exchange(other.descriptor_, -1)),
      size_bytes_(other.size_bytes_),
      torn_(other.torn_) {}

AppendFile& AppendFile::operator=(AppendFile&& other) noexcept {
  std::swap(path_, other.path_);
  std::swap(descriptor_, other.descriptor_);
  std::swap(size_bytes_, other.size_bytes_);
  std::swap(torn_, other.torn_);
  return *this;
}

AppendFile::~AppendFile() {
  if (descriptor_ >= 0) ::close(descriptor_);
}

Result<AppendFile> AppendFile::open(const fs::path& path, Presence presence) {
  const int making = presence == Presence::there     ? 0
                     : presence == Presence::missing ? O_CREAT | O_EXCL
                                                     : O_CREAT;
  const auto descriptor = open_plain(path, O_RDWR | O_APPEND | making);
  if (!descriptor) return tl::unexpected(descriptor.error());
  AppendFile file(path, *descriptor);
  if (::flock(*descriptor, LOCK_EX | LOCK_NB) != 0) {
    if (errno == EWOULDBLOCK) {
      return fail(append_error(path, ErrorKind::user_input, "is being written by another program",
                               "close that program first"));
    }
    const int code = errno;
    if (presence == Presence::missing) ::unlink(path.c_str());
    return fail(refused_by_system(path, "cannot be locked", code));
  }
  if (making != 0) sync_name_of(path);
  struct stat found {};
  if (::fstat(*descriptor, &found) != 0) {
    return fail(refused_by_system(path, "cannot be read", errno));
  }
  file.size_bytes_ = static_cast<std::uintmax_t>(found.st_size);
  return file;
}

Result<std::string> AppendFile::look(const fs::path& path, std::uintmax_t limit_bytes) {
  const auto descriptor = open_plain(path, O_RDONLY);
  if (!descriptor) return tl::unexpected(descriptor.error());
  const AppendFile closing(path, *descriptor);
  return read_all(path, *descriptor, limit_bytes);
}

Result<std::string> AppendFile::read(std::uintmax_t limit_bytes) const {
  return read_all(path_, descriptor_, limit_bytes);
}

Result<void> AppendFile::check_untouched() const {
  struct stat open_one {};
  struct stat named {};
  const bool still_there = ::fstat(descriptor_, &open_one) == 0 &&
                           ::lstat(path_.c_str(), &named) == 0 && open_one.st_dev == named.st_dev &&
                           open_one.st_ino == named.st_ino;
  const auto size = static_cast<std::uintmax_t>(open_one.st_size);
  if (still_there && (size == size_bytes_ || (torn_ && size > size_bytes_))) return {};
  return fail(append_error(
      path_, ErrorKind::user_input,
      still_there ? "was changed by another program" : "was removed or replaced meanwhile",
      "close the other program, then start this one again"));
}

bool AppendFile::write_whole(std::string_view bytes) const {
  while (!bytes.empty()) {
    const auto written = ::write(descriptor_, bytes.data(), bytes.size());
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
  if (write_whole(bytes) && ::fsync(descriptor_) == 0) {
    size_bytes_ += bytes.size();
    return {};
  }
  const int code = errno;
  torn_ = ::ftruncate(descriptor_, static_cast<off_t>(size_bytes_)) != 0;
  return fail(refused_by_system(path_, "cannot be written", code));
}

Result<void> AppendFile::cut(std::uintmax_t bytes) {
  if (::ftruncate(descriptor_, static_cast<off_t>(bytes)) != 0) {
    return fail(refused_by_system(path_, "cannot be mended", errno));
  }
  size_bytes_ = bytes;
  torn_ = false;
  return {};
}

}  // namespace seamwright
