#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "base/result.h"

namespace seamwright::workbench {

/// A shot of the opened folder.
struct ShotEntry {
  std::string name;
  std::filesystem::path shot_file;            ///< need not be there yet
  bool has_file = false;                      ///< it is
  std::vector<std::filesystem::path> frames;  ///< one a lens; empty where the shot file says them
};

/// A `*.shot.yaml`, or every shot of a folder by name: its shot files, and frames NAME_front and
/// NAME_back, or NAME_0, NAME_1 …, that have none yet. Fails where there are none.
[[nodiscard]] Result<std::vector<ShotEntry>> list_shots(
    const std::filesystem::path& shot_or_folder);

}  // namespace seamwright::workbench
