#pragma once

// Opening a shot: its files, the template it belongs to, the touch that it holds, and what is
// wished of it, as one value. Nothing else in this program does that.

#include <filesystem>
#include <optional>
#include <string>

#include "base/progress.h"
#include "base/result.h"
#include "jobs/shot/shot.h"

namespace seamwright {

/// What becomes of the touch that a shot file holds already.
enum class OldTouch {
  kept,           ///< refused where it is another template's
  replaced,       ///< as if there were none
  where_it_fits,  ///< kept where it is this template's
};

[[nodiscard]] Result<BodyTemplate> read_body_template(const std::filesystem::path& file);

/// What somebody names on the way to a shot.
struct OpenOptions {
  std::filesystem::path template_file = {};  ///< empty: the one that the shot file names
  ShotWishes wishes = {};
  OldTouch old_touch = OldTouch::kept;
};

/// Frames or a shot file. Refused: no template at all, another one than the shot file's hash says,
/// a touch to be kept that was made for another template, wishes that make no sense. The file guard
/// knows all files of the shot when this returns (base/file_guard.h). No pixel is read.
[[nodiscard]] Result<Shot> open_shot(const ShotRequest& request, const OpenOptions& options = {},
                                     const ProgressFn& progress = {});
/// The same of files that were found before, such as those of a list (shot_list.h).
[[nodiscard]] Result<Shot> open_shot(ShotFiles files, const OpenOptions& options = {});
/// The same with a template that was read before.
[[nodiscard]] Result<Shot> open_shot(ShotFiles files, BodyTemplate body,
                                     const OpenOptions& options = {});

}  // namespace seamwright
