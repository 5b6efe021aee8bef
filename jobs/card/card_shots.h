#pragma once

// From the pictures of a card to shots: which body took them, which make one shot, what is odd.

#include <string>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "jobs/brackets/grouping.h"
#include "jobs/card/body_choice.h"
#include "jobs/card/card_files.h"
#include "jobs/shot/open_shot.h"

namespace seamwright {

struct CardShot {
  std::string time;    ///< "2024-05-14 09:12:20" of its first frame; empty where EXIF tells none
  std::string body;    ///< the template's label, else what EXIF calls it
  std::string name;    ///< what the names of its files share
  ChosenTemplate fit;  ///< its template, by index
  BracketShot group;   ///< members are indices into the list of frames
  std::optional<FrameLayout> layout;  ///< where one file holds all lenses
  std::vector<std::string> odd;
};

struct CardShots {
  std::vector<CardShot> shots;  ///< in the order of their times, those without by name behind them
  std::vector<CardNote> notes;  ///< frames and shots that stay out, each once
};

/// Parts the frames by body (EXIF's serial number or make and model, and size), groups those of
/// each by EXIF as jobs/brackets/grouping.h does, or by names where EXIF does not tell
/// (names_tell.h), and finds each body's template (body_choice.h). A shot that lacks an exposure
/// stays, and says so; one that lacks a lens does not. Fails when it is told to stop.
[[nodiscard]] Result<CardShots> find_card_shots(const std::vector<ListedFrame>& frames,
                                                const std::vector<BodyTemplate>& templates,
                                                double rest_s, const ProgressFn& progress = {});

/// The files of a shot, as they are read under its template.
[[nodiscard]] ShotFiles files_of(const CardShot& shot, const std::vector<ListedFrame>& frames,
                                 const std::vector<BodyTemplate>& templates);

}  // namespace seamwright
