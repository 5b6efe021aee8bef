#pragma once

// From what somebody names, on a command line or in a run file, to what is restitched.

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "jobs/restitch/restitch.h"
#include "jobs/restitch/shots_at_once.h"

namespace seamwright {

/// A shot that a run file says by name.
struct NamedShot {
  NameParts name;
  std::filesystem::path rig_template;  ///< empty: the one of the run's that fits
  std::filesystem::path folder;        ///< that holds the shot alone, where `files` is empty
  /// The exposures of each lens, or of all lenses; or one shot file.
  std::vector<std::vector<std::filesystem::path>> files;
  std::optional<FrameLayout> layout;
  std::vector<int> quarter_turns;
  ShotWishes wishes;
};

struct RunRequest {
  std::vector<std::filesystem::path> shots;      ///< folders, frames, shot files
  std::vector<std::filesystem::path> templates;  ///< none: shot files name theirs
  std::filesystem::path out;                     ///< folder of the panoramas
  ShotWishes wishes = {};
  GroupingOptions grouping = {};
  bool jpeg = false;                  ///< beside each panorama
  std::vector<NamedShot> named = {};  ///< beside `shots`
  Delivery delivery = {};
  RunBudget budget = {};
};

/// True for `*.run.yaml` and `*.run.yml`.
[[nodiscard]] bool is_run_file(const std::filesystem::path& path);

/// What a run file says (templates/run_file.h); its paths as seen from the working folder.
[[nodiscard]] Result<RunRequest> read_run_request(const std::filesystem::path& run_file);

/// What several inputs are: run files, and all else.
struct SplitInputs {
  std::vector<std::filesystem::path> run_files;
  std::vector<std::filesystem::path> rest;  ///< folders, frames, shot files, panoramas
};
[[nodiscard]] SplitInputs split_inputs(const std::vector<std::filesystem::path>& inputs);

/// Reads the templates and lists the shots. Fails on a template that cannot be read and as
/// list_shots() does; shots that are of no use are in the order all the same, with the reason.
[[nodiscard]] Result<RestitchOrder> open_run(const RunRequest& request,
                                             const ProgressFn& progress = {});
/// The same of a run file.
[[nodiscard]] Result<RestitchOrder> open_run_file(const std::filesystem::path& run_file,
                                                  const ProgressFn& progress = {});

}  // namespace seamwright
