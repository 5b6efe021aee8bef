#pragma once

// Which files make one shot, and how its lenses lie in them. This is the one place that decides it:
// from what somebody names (frames in the order of the lenses, one file of all lenses, the brackets
// of one shot, a *.shot.yaml), and from frames that were grouped (jobs/brackets/grouping.h).

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "imaging/frame.h"
#include "jobs/brackets/grouping.h"
#include "templates/shot_file.h"

namespace seamwright {

/// The exposures of one shot, and which is whose.
struct ShotBrackets {
  std::vector<ListedFrame> frames;
  BracketShot series;  ///< its members are indices into `frames`
};

struct ShotFiles {
  std::string name;
  std::filesystem::path shot_file;            ///< empty: no file writes the shot down
  ShotFile document;                          ///< what it holds; else what it would say of edits
  std::vector<std::filesystem::path> frames;  ///< lens 0 first; of brackets the middle exposures
  FrameIntake intake;                         ///< how they are read
  std::optional<ShotBrackets> grouped;        ///< brackets that no shot file writes down
  bool layout_is_said = false;                ///< of this very shot, not what is usual

  /// Whether each lens has several exposures.
  [[nodiscard]] bool bracketed() const { return grouped || !document.brackets.empty(); }
  /// Every picture of the shot: its frames, or all their exposures.
  [[nodiscard]] std::vector<std::filesystem::path> pictures() const;
  /// Those and the shot file.
  [[nodiscard]] std::vector<std::filesystem::path> all() const;
};

/// One shot as somebody names it.
struct ShotRequest {
  /// A file per lens; one file with all lenses; all exposures of one shot, as files or as a folder;
  /// or one *.shot.yaml.
  std::vector<std::filesystem::path> files;
  std::optional<FrameLayout> layout = {};  ///< unset: one file holds all lenses side by side
  std::vector<int> quarter_turns = {};     ///< clockwise, one per lens
  bool mirrored = false;                   ///< the files hold mirrored pictures
  bool several_exposures = false;          ///< brackets may be given
  GroupingOptions grouping = {};           ///< of brackets
};

/// True for `*.yaml` and `*.yml`.
[[nodiscard]] bool is_yaml(const std::filesystem::path& path);
/// True for `*.shot.yaml` and `*.shot.yml`.
[[nodiscard]] bool is_shot_file(const std::filesystem::path& path);
/// "library_1" of "rooms/library_1_front.tif" and of "library_1.shot.yaml".
[[nodiscard]] std::string shot_name_of(const std::filesystem::path& first_file);

/// The files of a shot for a body of `lens_count` lenses; of a shot file that is not looked at. The
/// file guard is told of all of them. No picture's pixels are read.
[[nodiscard]] Result<ShotFiles> find_shot_files(const ShotRequest& request, int lens_count,
                                                const ProgressFn& progress = {});

/// The files of a shot file.
[[nodiscard]] Result<ShotFiles> read_shot_files(const std::filesystem::path& shot_file);

/// The files of a group of `listed` frames. Lenses that are all in one file lie in it as `intake`
/// says, side by side where that says nothing.
[[nodiscard]] ShotFiles files_of_group(const std::vector<ListedFrame>& listed,
                                       const BracketShot& shot, FrameIntake intake);

/// The exposures of a bracketed shot; those of a shot file are listed now.
[[nodiscard]] Result<ShotBrackets> brackets_of(const ShotFiles& files,
                                               const ProgressFn& progress = {});

/// How a shot file that lies at `shot_file`, or will, names a file. Fails across drives.
[[nodiscard]] Result<std::filesystem::path> seen_from_shot_file(
    const std::filesystem::path& file, const std::filesystem::path& shot_file);

}  // namespace seamwright
