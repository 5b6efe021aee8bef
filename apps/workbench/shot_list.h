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

struct ShotList {
  std::vector<ShotEntry> shots;  ///< by name
  std::vector<Error> left_out;   ///< frames of shots that are not all there
};

/// A `*.shot.yaml`, or every shot of a folder by name: its shot files, and frames NAME_front and
/// NAME_back, or NAME_0, NAME_1 …, that have none yet. Fails where there are none.
[[nodiscard]] Result<ShotList> list_shots(const std::filesystem::path& shot_or_folder);

}  // namespace seamwright::workbench
