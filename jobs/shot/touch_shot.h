#pragma once

// The touch of a shot: the few terms by which its rig differs from its template, from ties that a
// person set and ties that are found (solver/touch.h).

#include <cstddef>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "jobs/shot/shot.h"
#include "jobs/shot/shot_fit.h"
#include "projection/tie.h"
#include "solver/touch.h"

namespace seamwright {

/// A touch and what it came of.
struct TouchReport {
  std::string shot_file;
  std::string template_file;
  std::vector<Tie> ties;   ///< the manual ones first; pixels at the template's size
  std::size_t manual = 0;  ///< how many of them
  TouchResult result;
  double solve_ms = 0;
};

/// Solves from the ties that the shot's edits hold and, with `automatic`, from those that its
/// frames show. `shot` is opened without its old touch. Fails on ties outside a lens' field of view
/// and on frames that do not fit together. `shot_file` of the report stays empty.
[[nodiscard]] Result<TouchReport> solve_touch(const Shot& shot, const ShotPictures& pictures,
                                              bool automatic, const ProgressFn& progress = {});

/// What the shot file says with this touch, as seen from where it lies or will.
[[nodiscard]] Result<ShotFile> touched_document(const Shot& shot, const TouchResult& touch,
                                                const std::filesystem::path& shot_file);

/// What became of a shot that was to be touched if it needs it.
struct TouchNeed {
  enum class Done {
    fits,     ///< nothing: the shot fits as it is
    left,     ///< nothing: it does not quite fit, and the frames do not say why with certainty
    touched,  ///< its shot file holds the touch now
  } done = Done::fits;
  ShotFit fit;                      ///< the quick test, before
  std::filesystem::path shot_file;  ///< of `touched`
  std::vector<std::string> findings = {};
};

/// Where the touch of a shot goes: its shot file, or NAME.shot.yaml beside its first frame.
[[nodiscard]] std::filesystem::path place_of_touch(const ShotFiles& files, const std::string& name);

/// Tests the shot as it is, with its touch where that is its template's; touches it where the body
/// was knocked, or where its touch was another template's; and writes its shot file, keeping the
/// version before. Fails on a shot that does not fit at all, and where a shot file lies in the
/// place of the new one.
[[nodiscard]] Result<TouchNeed> touch_where_needed(const Shot& shot,
                                                   const std::filesystem::path& shot_file,
                                                   const ProgressFn& progress = {});

}  // namespace seamwright
