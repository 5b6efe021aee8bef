#pragma once

// From what somebody names, on a command line or in a run file, to what is restitched.

#include <filesystem>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "jobs/restitch/restitch.h"

namespace seamwright {

struct RunRequest {
  std::vector<std::filesystem::path> shots;      ///< folders, frames, shot files
  std::vector<std::filesystem::path> templates;  ///< none: shot files name theirs
  std::filesystem::path out;                     ///< folder of the panoramas
  ShotWishes wishes = {};
  GroupingOptions grouping = {};
  bool jpeg = false;  ///< beside each panorama
};

/// What a run file says (templates/run_file.h); its paths as seen from the working folder.
[[nodiscard]] Result<RunRequest> read_run_request(const std::filesystem::path& run_file);

/// Reads the templates and lists the shots. Fails on a template that cannot be read and as
/// list_shots() does; shots that are of no use are in the order all the same, with the reason.
[[nodiscard]] Result<RestitchOrder> open_run(const RunRequest& request,
                                             const ProgressFn& progress = {});

}  // namespace seamwright
