#include "jobs/archive/left_behind.h"

#include <system_error>

namespace seamwright {
namespace fs = std::filesystem;

std::vector<fs::path> LeftBehind::files(const fs::path& folder) const {
  std::vector<fs::path> files;
  std::error_code code;
  for (const std::string& file : written_) {
    if (!current_.contains(file) && fs::exists(folder / file, code)) files.push_back(folder / file);
  }
  return files;
}

}  // namespace seamwright
