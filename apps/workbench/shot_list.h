#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "jobs/shot/shot_files.h"

namespace seamwright::workbench {

/// A shot of the opened folder.
struct ShotEntry {
  std::string name;
  std::filesystem::path shot_file;  ///< need not be there yet
  ShotFiles files;                  ///< as they were found; a shot file may be written since
};

struct ShotList {
  std::vector<ShotEntry> shots;  ///< by name
  std::vector<Error> left_out;   ///< shots that are of no use as they are
};

/// A `*.shot.yaml`, or every shot of a folder (jobs/shot/shot_list.h) whose files are there, by
/// name. Fails where there are none.
[[nodiscard]] Result<ShotList> list_shots(const std::filesystem::path& shot_or_folder,
                                          int lens_count, const ProgressFn& progress = {});

}  // namespace seamwright::workbench
