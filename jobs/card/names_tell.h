#pragma once

// Shots by the names of their files alone, where EXIF tells nothing.

#include <cstddef>
#include <filesystem>
#include <string>
#include <vector>

#include "jobs/card/card_files.h"

namespace seamwright {

/// Frames of one shot, lens 0 first; one where a file holds all lenses.
struct NamedGroup {
  std::string name;  ///< what the files' names share
  std::vector<std::filesystem::path> frames;
};

struct NamesTold {
  std::vector<NamedGroup> groups;
  std::vector<CardNote> notes;  ///< one a frame, or a run of numbers, that stays out
};

/// In this order: NAME_front and NAME_back, or NAME_0, NAME_1 … (jobs/shot/named_frames.h); folders
/// named front and back, or lens0, lens1 … beside each other with files of the same names; running
/// numbers, of which each `lens_count` in a row are one shot. A gap begins anew, and a row that
/// does not come out even stays out as a whole.
[[nodiscard]] NamesTold shots_by_names(std::vector<std::filesystem::path> files, int lens_count);

}  // namespace seamwright
