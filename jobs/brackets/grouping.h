#pragma once

// Which frames make up which bracket of which lens of which shot.
//
// The rule, where nothing else is said:
//   lens      EXIF's lens model. Lenses are ordered by a number at the end of their name; names
//             without one put "front" first, the others by the alphabet. Files that name no lens,
//             or all the same one, hold one lens each shot, or all lenses side by side.
//   shot      EXIF's time. Frames in the order of their times (those of one second by file name)
//             belong to one shot until a frame begins more than `rest_s` after the one before
//             ended.
//   bracket   EXIF's exposure (exposure.h): frames within a sixth of a stop are one step. Several
//             frames of one step are a burst, whatever their order, so that 3 steps × 8 frames may
//             come step by step or series by series.
// A pattern with named groups overrides any of these (frame_pattern.h).

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "base/result.h"
#include "jobs/brackets/frame_list.h"
#include "jobs/brackets/frame_pattern.h"

namespace seamwright {

struct GroupingOptions {
  double rest_s = 3;           ///< of rest between two shots; 0…86400
  double step_ev = 1.0 / 6;    ///< exposures closer than this are one step; 0.01…1
  int frames_per_shot = 0;     ///< of each lens, in the order of time; 0: by `rest_s`
  bool allow_missing = false;  ///< series may differ from shot to shot and lens to lens
  /// Of the body, 0 where that is not known. Where any shot has so many, one with fewer lacks some;
  /// else, or where it is not known, what most shots have is right.
  int lens_count = 0;
  std::optional<FramePattern> pattern = {};

  [[nodiscard]] std::optional<Error> validate() const;
};

/// One frame's place in its series.
struct BracketMember {
  std::size_t frame = 0;  ///< index into the list
  double exposure = 1;    ///< relative, see exposure.h
};

/// Frames of one exposure.
struct BracketStep {
  double ev = 0;  ///< against the middle step (the lower one of two)
  std::vector<BracketMember> members;
};

/// One lens' frames of one shot, in rising exposure.
struct BracketSeries {
  std::string lens;  ///< name of the lens; empty where nothing tells it
  std::vector<BracketStep> steps;

  [[nodiscard]] std::size_t frame_count() const;
};

struct BracketShot {
  std::string name;                   ///< by pattern, or from what its files' names share
  std::vector<BracketSeries> lenses;  ///< in order, lens 0 first
};

/// A frame or a shot that stays out of the groups.
struct LeftOut {
  std::string name;             ///< the shot's, as far as it is known; else the file's
  std::filesystem::path frame;  ///< empty where it is a whole shot that stays out
  bool shot_known = false;      ///< then nothing of the frame's shot is in a group
  Error error;
};

struct WholeShots {
  std::vector<BracketShot> shots;
  std::vector<LeftOut> left_out;  ///< each shot and each frame without a shot once
};

/// Groups by the rule above what can be grouped, and leaves out, saying why: frames of another body
/// or size than most, without the exposure (where they are not alone in their series) or time in
/// EXIF that the pattern does not say either, and with a name that the pattern does not match;
/// shots that lost one of their frames so; and, unless `allow_missing`, shots with another number
/// of lenses or another series of exposures than most, or whose lenses differ. `unlisted`: frames
/// that could not even be listed. Fails on options that make no sense.
[[nodiscard]] Result<WholeShots> group_whole_shots(const std::vector<ListedFrame>& frames,
                                                   const GroupingOptions& options,
                                                   const std::vector<UnlistedFrame>& unlisted = {});

/// The same where every frame must find its place: fails with the first thing that would be left
/// out, and where there are no frames.
[[nodiscard]] Result<std::vector<BracketShot>> group_brackets(
    const std::vector<ListedFrame>& frames, const GroupingOptions& options = {});

/// A frame that somebody wrote down as part of a series.
struct WrittenFrame {
  std::size_t frame = 0;          ///< index into the list
  std::optional<double> ev = {};  ///< on one scale for all lenses of the shot; absent: by EXIF
};

/// One lens' series as it is written down, none of it empty. Fails on a frame whose exposure
/// neither `ev` nor EXIF says.
[[nodiscard]] Result<BracketSeries> written_series(const std::vector<ListedFrame>& frames,
                                                   const std::vector<WrittenFrame>& written,
                                                   double step_ev = GroupingOptions{}.step_ev);

/// A table for people: shot, lens, steps, frames; one line a series.
[[nodiscard]] std::string bracket_table(const std::vector<ListedFrame>& frames,
                                        const std::vector<BracketShot>& shots);

}  // namespace seamwright
