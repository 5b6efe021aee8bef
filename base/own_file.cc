#include "base/own_file.h"

#include <cerrno>
#include <cstring>
#include <system_error>
#include <utility>

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/flush_folder.h"
#include "base/folder_of.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

Error own_error(const fs::path& path, ErrorKind kind, std::string what, std::string remedy) {
  return {.kind = kind,
          .where = path.string(),
          .field = {},
          .what = std::move(what),
          .remedy = std::move(remedy)};
}

Error not_plain(const fs::path& path, const char* what) {
  return own_error(path, ErrorKind::user_input, what,
                   "move it out of the way: nothing is written to what lies elsewhere");
}

Error open_error(const fs::path& path, bool is_folder, int code) {
  struct stat found {};
  const bool seen = ::lstat(path.c_str(), &found) == 0;
  if (seen && S_ISLNK(found.st_mode)) return not_plain(path, "is a symbolic link");
  if (seen && !is_folder && !S_ISREG(found.st_mode)) {
    return not_plain(path, S_ISDIR(found.st_mode) ? "is a folder" : "is not a plain file");
  }
  if (code == EEXIST) {
    return own_error(path, ErrorKind::user_input, "was begun by another program",
                     "close that program first");
  }
  return OwnFile::system_error(path, is_folder ? "cannot be written to" : "cannot be opened", code);
}

// Without O_NONBLOCK a pipe would wait for its other end.
constexpr int kNoLinks = O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC | O_NOCTTY;

// A descriptor, or -1 with errno and which of the two could not be opened.
int open_careful(const fs::path& file, int flags, OwnFile::Folder folder, bool& at_folder) {
  if (folder == OwnFile::Folder::any) return ::open(file.c_str(), flags | kNoLinks, 0666);
  const int inside = ::open(folder_of(file).c_str(), O_RDONLY | O_DIRECTORY | kNoLinks);
  at_folder = inside < 0;
  if (inside < 0) return -1;
  const int descriptor = ::openat(inside, file.filename().c_str(), flags | kNoLinks, 0666);
  const int code = errno;
  ::close(inside);
  errno = code;
  return descriptor;
}

}  // namespace

Error OwnFile::system_error(const fs::path& path, std::string_view what, int code) {
  return own_error(path, ErrorKind::io, fmt::format("{}: {}", what, std::strerror(code)),
                   "make its folder writable and free some space on the disk");
}

Result<OwnFile> OwnFile::open(const fs::path& file, Presence presence, Folder folder) {
  if (folder == Folder::own) {
    std::error_code code;
    fs::create_directories(folder_of(file), code);
  }
  const int making = presence == Presence::there     ? 0
                     : presence == Presence::missing ? O_CREAT | O_EXCL
                                                     : O_CREAT;
  auto own = open_with(file, O_RDWR | O_APPEND | making, folder);
  if (own && making != 0) flush_folder_of(file);
  return own;
}

Result<OwnFile> OwnFile::open_to_read(const fs::path& file, Folder folder) {
  return open_with(file, O_RDONLY, folder);
}

Result<OwnFile> OwnFile::open_with(const fs::path& file, int flags, Folder folder) {
  bool at_folder = false;
  const int descriptor = open_careful(file, flags, folder, at_folder);
  if (descriptor < 0) {
    const int code = errno;
    return fail(open_error(at_folder ? folder_of(file) : file, at_folder, code));
  }
  OwnFile own(file, descriptor);
  struct stat found {};
  if (::fstat(descriptor, &found) == 0 && S_ISREG(found.st_mode)) return own;
  return fail(not_plain(file, "is not a plain file"));
}

OwnFile::OwnFile(OwnFile&& other) noexcept
    : path_(std::move(other.path_)), descriptor_(std::exchange(other.descriptor_, -1)) {}

OwnFile& OwnFile::operator=(OwnFile&& other) noexcept {
  std::swap(path_, other.path_);
  std::swap(descriptor_, other.descriptor_);
  return *this;
}

OwnFile::~OwnFile() {
  if (descriptor_ >= 0) ::close(descriptor_);
}

Result<OwnFile::Locked> OwnFile::lock(Lock how) const {
  const int kind = how == Lock::alone ? LOCK_EX : LOCK_SH;
  if (::flock(descriptor_, kind | LOCK_NB) == 0) return Locked::yes;
  if (errno == EWOULDBLOCK) return Locked::held_by_another;
  return fail(system_error(path_, "cannot be locked", errno));
}

Result<std::string> OwnFile::bytes(std::uintmax_t limit_bytes) const {
  constexpr std::size_t kBlock = std::size_t{1} << 16U;
  std::string bytes;
  for (;;) {
    const std::size_t begin = bytes.size();
    bytes.resize(begin + kBlock);
    const auto got = ::pread(descriptor_, bytes.data() + begin, kBlock, static_cast<off_t>(begin));
    const int code = errno;
    bytes.resize(begin + (got > 0 ? static_cast<std::size_t>(got) : 0));
    if (got == 0) return bytes;
    if (got < 0 && code != EINTR) return fail(system_error(path_, "cannot be read", code));
    if (bytes.size() > limit_bytes) {
      return fail(own_error(path_, ErrorKind::user_input,
                            fmt::format("is larger than {} bytes", limit_bytes),
                            "check that this is the right file, or move it away"));
    }
  }
}

}  // namespace seamwright
