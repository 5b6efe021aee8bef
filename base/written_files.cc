#include "base/written_files.h"

#include <map>
#include <mutex>
#include <tuple>

#include <sys/stat.h>

namespace seamwright {

namespace {

// What changes when a file's bytes do.
using Look = std::tuple<dev_t, ino_t, off_t, time_t, long, time_t, long>;

std::optional<Look> look_at(const std::filesystem::path& file) {
  struct stat status {};
  if (::stat(file.c_str(), &status) != 0) return std::nullopt;
  return Look{status.st_dev,         status.st_ino,          status.st_size,
              status.st_mtim.tv_sec, status.st_mtim.tv_nsec, status.st_ctim.tv_sec,
              status.st_ctim.tv_nsec};
}

struct Committed {
  Look look;
  std::string sha256;
};

std::mutex committed_mutex;
std::map<std::filesystem::path, Committed>& committed_files() {
  static std::map<std::filesystem::path, Committed> files;
  return files;
}

}  // namespace

void note_committed(const std::filesystem::path& file, const std::string& sha256_hex) {
  const auto look = look_at(file);
  if (!look) return;
  const std::scoped_lock lock(committed_mutex);
  committed_files().insert_or_assign(file, Committed{*look, sha256_hex});
}

std::optional<std::string> hash_of_committed(const std::filesystem::path& file) {
  const auto look = look_at(file);
  const std::scoped_lock lock(committed_mutex);
  const auto known = committed_files().find(file);
  if (!look || known == committed_files().end() || known->second.look != *look) {
    return std::nullopt;
  }
  return known->second.sha256;
}

}  // namespace seamwright
