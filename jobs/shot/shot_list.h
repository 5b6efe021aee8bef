#pragma once

// The shots that files and folders hold.

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "jobs/shot/shot_files.h"

namespace seamwright {

/// One thing that was found: a shot, or a finished panorama.
struct ListedShot {
  std::string name;
  ShotFiles files = {};                 ///< of a broken shot file only `shot_file`
  std::filesystem::path panorama = {};  ///< alone, where this is not empty
  std::optional<Error> failure = {};    ///< why it is of no use; the rest may be empty

  /// The name that its outputs take.
  [[nodiscard]] std::string stem() const;
};

/// One that is of no use, and why.
[[nodiscard]] ListedShot failed_shot(const std::string& name, const Error& error);

/// What files and folders hold: shot files by themselves; pictures that say they are panoramas; all
/// other pictures grouped into shots as brackets are (jobs/brackets/grouping.h), or by their names
/// where EXIF does not tell their lens or time (named_frames.h) and `grouping` says nothing either.
/// Frames that a shot file names belong to it alone. As many files as a body has lenses, named one
/// by one, are a shot in this order where neither EXIF nor their names tell anything else. What
/// cannot be read or grouped fails its own shot only. Fails on grouping options that make no sense,
/// and when told to stop. The file guard is told of all files.
[[nodiscard]] Result<std::vector<ListedShot>> list_shots(
    const std::vector<std::filesystem::path>& files_and_folders, const GroupingOptions& grouping,
    int lens_count, const ProgressFn& progress = {});

/// How a job fails whose shots all have a failure; nothing where one has none.
[[nodiscard]] std::optional<Error> nothing_left(const std::vector<ListedShot>& shots);

}  // namespace seamwright
