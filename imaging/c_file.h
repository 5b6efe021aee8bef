#pragma once

#include <cstdio>
#include <filesystem>
#include <memory>

namespace seamwright {

struct CloseCFile {
  void operator()(std::FILE* file) const { std::fclose(file); }
};

/// A stdio stream, for libraries that want one; null when it cannot be opened.
using CFile = std::unique_ptr<std::FILE, CloseCFile>;

[[nodiscard]] inline CFile open_c_file(const std::filesystem::path& path, const char* mode) {
  return CFile(std::fopen(path.string().c_str(), mode));
}

/// Flushes and closes; false when anything written did not reach the file.
[[nodiscard]] inline bool close_c_file(CFile file) {
  const bool sound = std::fflush(file.get()) == 0 && std::ferror(file.get()) == 0;
  return std::fclose(file.release()) == 0 && sound;
}

}  // namespace seamwright
