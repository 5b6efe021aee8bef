#include "base/file_record.h"

#include <array>
#include <fstream>

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#if defined(__linux__)
#include <sys/xattr.h>
#endif

#include "base/file.h"
#include "base/folder_of.h"

namespace seamwright {
namespace fs = std::filesystem;

namespace {

constexpr const char* kList = ".seamwright-written";
constexpr std::size_t kHexDigits = 64;

#if defined(__linux__)
constexpr const char* kAttribute = "user.seamwright.sha256";

bool set_note(const fs::path& file, const std::string& hash) {
  return ::setxattr(file.c_str(), kAttribute, hash.data(), hash.size(), 0) == 0;
}

std::string note_of(const fs::path& file) {
  std::array<char, kHexDigits> hash{};
  const auto size = ::getxattr(file.c_str(), kAttribute, hash.data(), hash.size());
  return size == static_cast<ssize_t>(kHexDigits) ? std::string(hash.data(), hash.size()) : "";
}
#else
bool set_note(const fs::path&, const std::string&) { return false; }
std::string note_of(const fs::path&) { return {}; }
#endif

fs::path list_beside(const fs::path& file) { return folder_of(file) / kList; }

// One line at the end of the list, which may be no link.
void add_to_list(const fs::path& file, const std::string& hash) {
  const std::string name = file.filename().string();
  if (name.find('\n') != std::string::npos) return;
  const int descriptor = ::open(list_beside(file).c_str(),
                                O_WRONLY | O_CREAT | O_APPEND | O_NOFOLLOW | O_CLOEXEC, 0666);
  if (descriptor < 0) return;
  const std::string line = fmt::format("{}  {}\n", hash, name);
  // A torn line holds no whole hash and is passed over by the reader.
  [[maybe_unused]] const auto written = ::write(descriptor, line.data(), line.size());
  ::fsync(descriptor);
  ::close(descriptor);
}

// Whether any line tells this hash of the file: a kill between line and rename leaves the file
// with the bytes of an earlier line.
bool is_listed(const fs::path& file, const std::string& hash) {
  std::ifstream list(list_beside(file), std::ios::binary);
  const std::string wanted = fmt::format("{}  {}", hash, file.filename().string());
  for (std::string line; std::getline(list, line);) {
    if (line == wanted) return true;
  }
  return false;
}

bool has_list(const fs::path& file) {
  std::error_code code;
  return fs::is_regular_file(fs::symlink_status(list_beside(file), code));
}

}  // namespace

void record_written(const fs::path& temporary, const fs::path& destination,
                    const std::string& sha256_hex) {
  if (!set_note(temporary, sha256_hex)) add_to_list(destination, sha256_hex);
}

bool holds_what_was_written(const fs::path& file) {
  const std::string note = note_of(file);
  if (note.empty() && !has_list(file)) return false;
  const auto hash = sha256_of_file(file);
  return hash && (*hash == note || is_listed(file, *hash));
}

}  // namespace seamwright
