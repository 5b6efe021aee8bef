#include "base/leftovers.h"

#include <atomic>
#include <cctype>
#include <string>
#include <system_error>
#include <utility>
#include <vector>

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/folder_of.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

constexpr std::string_view kMark = ".partial";

fs::path name_beside(const fs::path& destination) {
  static std::atomic<unsigned> counter{0};
  // Names may be as long as the file system allows; the temporary's must not be longer.
  constexpr std::size_t kMostOfName = 180;
  return folder_of(destination) /
         fmt::format(".{}.{}-{}{}", destination.filename().string().substr(0, kMostOfName),
                     ::getpid(), counter.fetch_add(1), kMark);
}

// ".NAME.PID-N.partial"
bool is_temporary_name(const std::string& name) {
  if (name.front() != '.' || !name.ends_with(kMark)) return false;
  std::size_t at = name.size() - kMark.size();
  const auto digits = [&] {
    const std::size_t end = at;
    while (at > 0 && std::isdigit(static_cast<unsigned char>(name[at - 1])) != 0) --at;
    return at < end;
  };
  if (!digits() || name[--at] != '-') return false;
  return digits() && at > 2 && name[at - 1] == '.';
}

int make(const fs::path& path, HeldTemporary::Kind kind) {
  if (kind == HeldTemporary::Kind::file) {
    return ::open(path.c_str(), O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
  }
  if (::mkdir(path.c_str(), 0777) != 0) return -1;
  return ::open(path.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
}

// Whether the name still leads to what the descriptor holds.
bool is_still_there(const fs::path& path, int descriptor) {
  struct stat held {};
  struct stat named {};
  return ::fstat(descriptor, &held) == 0 && ::lstat(path.c_str(), &named) == 0 &&
         held.st_dev == named.st_dev && held.st_ino == named.st_ino;
}

}  // namespace

std::optional<HeldTemporary> HeldTemporary::create(const fs::path& destination, Kind kind) {
  // Another process may sweep between the making and the lock: then once more, by another name.
  constexpr int kTries = 10;
  for (int i = 0; i < kTries; ++i) {
    fs::path path = name_beside(destination);
    const int descriptor = make(path, kind);
    if (descriptor < 0) return std::nullopt;
    // File systems without locks keep no leftovers apart; nothing is swept there either.
    const bool held = ::flock(descriptor, LOCK_EX | LOCK_NB) == 0 || errno != EWOULDBLOCK;
    if (held && is_still_there(path, descriptor)) return HeldTemporary(std::move(path), descriptor);
    ::close(descriptor);
  }
  errno = EBUSY;
  return std::nullopt;
}

HeldTemporary::HeldTemporary(HeldTemporary&& other) noexcept
    : path_(std::exchange(other.path_, {})), descriptor_(std::exchange(other.descriptor_, -1)) {}

HeldTemporary& HeldTemporary::operator=(HeldTemporary&& other) noexcept {
  if (this != &other) {
    remove();
    path_ = std::exchange(other.path_, {});
    descriptor_ = std::exchange(other.descriptor_, -1);
  }
  return *this;
}

HeldTemporary::~HeldTemporary() { remove(); }

void HeldTemporary::remove() noexcept {
  std::error_code ignored;
  if (!path_.empty()) fs::remove_all(path_, ignored);
  let_go();
}

void HeldTemporary::let_go() noexcept {
  if (descriptor_ >= 0) ::close(descriptor_);
  descriptor_ = -1;
  path_.clear();
}

int remove_leftovers(const fs::path& folder) {
  int removed = 0;
  std::error_code code;
  for (fs::directory_iterator entry(folder, code), end; !code && entry != end;
       entry.increment(code)) {
    if (!is_temporary_name(entry->path().filename().string())) continue;
    const int descriptor = ::open(entry->path().c_str(), O_RDONLY | O_NOFOLLOW | O_CLOEXEC);
    if (descriptor < 0) continue;
    std::error_code failed;
    if (::flock(descriptor, LOCK_EX | LOCK_NB) == 0) {
      fs::remove_all(entry->path(), failed);
      if (!failed) ++removed;
    }
    ::close(descriptor);
  }
  return removed;
}

}  // namespace seamwright
