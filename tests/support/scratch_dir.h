#pragma once

#include <filesystem>
#include <fstream>
#include <iterator>
#include <stdexcept>
#include <string>
#include <string_view>
#include <system_error>

#include <stdlib.h>
#include <unistd.h>

namespace seamwright::test {

/// A folder of files that lie in memory, where the system has one: for tests that write a thousand
/// times and would wait for a disk at each.
[[nodiscard]] inline std::filesystem::path memory_folder() {
  std::error_code ignored;
  const std::filesystem::path shared = "/dev/shm";
  return std::filesystem::is_directory(shared, ignored) && ::access("/dev/shm", W_OK) == 0
             ? shared
             : std::filesystem::temp_directory_path();
}

/// A fresh folder under `parent`, removed with everything in it at the end.
class ScratchDir {
 public:
  explicit ScratchDir(
      const std::filesystem::path& parent = std::filesystem::temp_directory_path()) {
    std::string name = (parent / "seamwright-XXXXXX").string();
    if (::mkdtemp(name.data()) == nullptr) throw std::runtime_error("no scratch folder: " + name);
    path_ = name;
  }
  ScratchDir(const ScratchDir&) = delete;
  ScratchDir& operator=(const ScratchDir&) = delete;
  ~ScratchDir() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
  }

  [[nodiscard]] const std::filesystem::path& path() const { return path_; }
  [[nodiscard]] std::filesystem::path operator/(std::string_view name) const {
    return path_ / name;
  }
  /// Number of entries, hidden ones too: shows that no temporaries were left behind.
  [[nodiscard]] int entry_count() const {
    return static_cast<int>(std::distance(std::filesystem::directory_iterator(path_), {}));
  }

 private:
  std::filesystem::path path_;
};

/// Bytes into a file without any of our own code.
inline void put_file(const std::filesystem::path& path, std::string_view bytes) {
  std::ofstream out(path, std::ios::binary);
  out.write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
  if (!out) throw std::runtime_error("cannot write " + path.string());
}

/// A file's bytes without any of our own code.
[[nodiscard]] inline std::string get_file(const std::filesystem::path& path) {
  std::ifstream in(path, std::ios::binary);
  if (!in) throw std::runtime_error("cannot read " + path.string());
  return {std::istreambuf_iterator<char>(in), {}};
}

}  // namespace seamwright::test
