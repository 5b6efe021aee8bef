#include "jobs/card/copy_file.h"

#include <cerrno>
#include <cstdio>
#include <cstring>
#include <system_error>

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "base/flush_folder.h"
#include "base/folder_of.h"
#include "base/leftovers.h"
#include "base/make_folder.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

constexpr std::size_t kPiece_bytes = std::size_t{1} << 20U;

Error copy_error(const fs::path& file, std::string what, std::string remedy) {
  return {.kind = ErrorKind::io,
          .where = file.string(),
          .field = {},
          .what = std::move(what),
          .remedy = std::move(remedy)};
}

Error system_error(const fs::path& file, const char* what) {
  return copy_error(file, fmt::format("{}: {}", what, std::strerror(errno)),
                    "check the disk, then import again: what is copied stays");
}

/// A descriptor that closes itself.
class Descriptor {
 public:
  explicit Descriptor(int number) : number_(number) {}
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  ~Descriptor() {
    if (number_ >= 0) ::close(number_);
  }
  [[nodiscard]] int get() const { return number_; }
  [[nodiscard]] bool open() const { return number_ >= 0; }

 private:
  int number_;
};

bool write_all(int to, const char* bytes, std::size_t count) {
  while (count > 0) {
    const ssize_t written = ::write(to, bytes, count);
    if (written < 0 && errno == EINTR) continue;
    if (written <= 0) return false;
    bytes += written;
    count -= static_cast<std::size_t>(written);
  }
  return true;
}

Result<void> copy_bytes(const fs::path& from, const fs::path& to) {
  const Descriptor in(::open(from.c_str(), O_RDONLY | O_CLOEXEC));
  if (!in.open()) return fail(system_error(from, "cannot be opened"));
  const Descriptor out(::open(to.c_str(), O_WRONLY | O_CLOEXEC));
  if (!out.open()) return fail(system_error(to, "cannot be written"));
  std::string piece(kPiece_bytes, '\0');
  for (;;) {
    const ssize_t count = ::read(in.get(), piece.data(), piece.size());
    if (count < 0 && errno == EINTR) continue;
    if (count < 0) return fail(system_error(from, "cannot be read"));
    if (count == 0) break;
    if (!write_all(out.get(), piece.data(), static_cast<std::size_t>(count))) {
      return fail(system_error(to, "cannot be written"));
    }
  }
  struct stat source {};
  if (::fstat(in.get(), &source) == 0) {
    const timespec times[2] = {source.st_mtim, source.st_mtim};
    static_cast<void>(::futimens(out.get(), times));
    static_cast<void>(::fchmod(out.get(), source.st_mode & 0777U));
  }
  if (::fsync(out.get()) != 0) return fail(system_error(to, "cannot be flushed to the disk"));
  // What is read back is then the disk's, not memory's.
  static_cast<void>(::posix_fadvise(out.get(), 0, 0, POSIX_FADV_DONTNEED));
  return {};
}

// Takes the name where nothing has it; where the file system cannot do that in one step, by a link.
bool take_name(const fs::path& temporary, const fs::path& to, bool& renamed) {
  renamed = ::renameat2(AT_FDCWD, temporary.c_str(), AT_FDCWD, to.c_str(), RENAME_NOREPLACE) == 0;
  if (renamed) return true;
  return errno == EINVAL && ::link(temporary.c_str(), to.c_str()) == 0;
}

}  // namespace

Result<void> copy_verified(const fs::path& from, const fs::path& to, const std::string& sha256) {
  if (auto made = make_folder(folder_of(to)); !made) return made;
  auto temporary = HeldTemporary::create(to);
  if (!temporary) return fail(system_error(to, "cannot be written"));
  if (auto done = copy_bytes(from, temporary->path()); !done) return done;
  const auto copied = sha256_of_file(temporary->path());
  if (!copied) return tl::unexpected(copied.error());
  if (*copied != sha256) {
    return fail(copy_error(from, "its copy holds something else than was read before",
                           "check card and disk, then import again"));
  }
  bool renamed = false;
  if (!take_name(temporary->path(), to, renamed)) {
    return fail(system_error(to, "cannot take its name"));
  }
  if (renamed) temporary->let_go();
  flush_folder_of(to);
  return {};
}

Result<CopyPlace> copy_place(const fs::path& wanted, const std::string& sha256) {
  constexpr std::size_t kHashDigits = 8;
  fs::path other = wanted.parent_path() / wanted.stem();
  other += fmt::format("~{}{}", sha256.substr(0, kHashDigits), wanted.extension().string());
  for (const fs::path& file : {wanted, other}) {
    std::error_code code;
    if (!fs::exists(fs::symlink_status(file, code))) return CopyPlace{file, false};
    const auto held = sha256_of_file(file);
    if (held && *held == sha256) return CopyPlace{file, true};
  }
  return fail(copy_error(other, "holds something else than its name says",
                         "move it away, then import again"));
}

}  // namespace seamwright
