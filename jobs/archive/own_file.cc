#include "jobs/archive/own_file.h"

#include <array>
#include <cerrno>
#include <cstring>
#include <system_error>
#include <utility>

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

namespace seamwright {
namespace fs = std::filesystem;

namespace {

constexpr std::size_t kMostBytes = std::size_t{1} << 32U;

Error own_error(const fs::path& path, const std::string& field, std::string what,
                std::string remedy) {
  return {.kind = ErrorKind::io,
          .where = path.string(),
          .field = field,
          .what = std::move(what),
          .remedy = std::move(remedy)};
}

// Why the last call failed on this path.
Error open_error(const fs::path& path, const std::string& field, bool to_read) {
  const std::string reason = std::strerror(errno);
  std::error_code code;
  if (fs::is_symlink(fs::symlink_status(path, code))) {
    return own_error(path, field, "is a symbolic link, and is not followed",
                     "remove it; a run keeps its files in the output folder itself");
  }
  return own_error(path, field,
                   fmt::format("cannot be {}: {}", to_read ? "read" : "written", reason),
                   to_read ? "check its permissions" : "choose an output folder you may write to");
}

}  // namespace

Result<OwnFile> OwnFile::open(const fs::path& file, const std::string& field) {
  std::error_code code;
  if (file.has_parent_path()) fs::create_directories(file.parent_path(), code);
  return open(file, field, O_RDWR | O_CREAT | O_APPEND);
}

Result<OwnFile> OwnFile::open_to_read(const fs::path& file, const std::string& field) {
  return open(file, field, O_RDONLY);
}

Result<OwnFile> OwnFile::open(const fs::path& file, const std::string& field, int flags) {
  constexpr int kNoLinks = O_NOFOLLOW | O_CLOEXEC | O_NONBLOCK;  // a pipe would wait for its end
  const bool to_read = (flags & O_ACCMODE) == O_RDONLY;
  const fs::path folder = file.has_parent_path() ? file.parent_path() : fs::path(".");
  const int inside = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | kNoLinks);
  if (inside < 0) return fail(open_error(folder, field, to_read));
  const int descriptor = ::openat(inside, file.filename().c_str(), flags | kNoLinks, 0666);
  const int reason = errno;
  ::close(inside);
  errno = reason;
  if (descriptor < 0) return fail(open_error(file, field, to_read));
  OwnFile own(file, field, descriptor);
  struct stat status {};
  if (::fstat(descriptor, &status) == 0 && S_ISREG(status.st_mode)) return own;
  return fail(own_error(file, field, "is not a file", "remove it"));
}

OwnFile::OwnFile(OwnFile&& other) noexcept
    : file_(std::move(other.file_)),
      field_(std::move(other.field_)),
      descriptor_(std::exchange(other.descriptor_, -1)) {}

OwnFile::~OwnFile() {
  if (descriptor_ >= 0) ::close(descriptor_);
}

Result<std::string> OwnFile::bytes() const {
  std::string text;
  std::array<char, 1U << 16U> block{};
  for (;;) {
    const ssize_t got =
        ::pread(descriptor_, block.data(), block.size(), static_cast<off_t>(text.size()));
    if (got == 0) return text;
    if (got < 0 && errno == EINTR) continue;
    if (got < 0) return fail(open_error(file_, field_, true));
    text.append(block.data(), static_cast<std::size_t>(got));
    if (text.size() > kMostBytes) {
      return fail(own_error(file_, field_, fmt::format("is larger than {} bytes", kMostBytes),
                            "check that this is the right file"));
    }
  }
}

}  // namespace seamwright
