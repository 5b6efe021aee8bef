#include "jobs/archive/stamp.h"

#include <sys/stat.h>

namespace seamwright {

namespace {

std::int64_t nanoseconds(const timespec& time) {
  constexpr std::int64_t kPerSecond = 1'000'000'000;
  return kPerSecond * time.tv_sec + time.tv_nsec;
}

}  // namespace

std::optional<Stamp> stamp_of(const std::filesystem::path& file) {
  struct stat status {};
  if (::stat(file.c_str(), &status) != 0 || !S_ISREG(status.st_mode)) return std::nullopt;
  return Stamp{.bytes = static_cast<std::uintmax_t>(status.st_size),
               .changed_ns = nanoseconds(status.st_mtim),
               .status_ns = nanoseconds(status.st_ctim),
               .inode = status.st_ino};
}

}  // namespace seamwright
