#pragma once

// The ways in which a shot's frames may have been meant, other than as they were given.

#include <vector>

#include "jobs/shot/shot_fit.h"

namespace seamwright {

/// One way in which the frames may have been meant.
struct Trial {
  Misfit cause = Misfit::none;  ///< what is wrong if this is how they were meant
  std::vector<int> order = {};  ///< which frame is of lens i; empty: as given
  std::vector<int> turns = {};  ///< clockwise quarters that set frame i right; empty: none
  bool mirrored = false;
};

/// Mirrored, in other orders, turned by quarters: two lenses each by itself, more of them alike.
/// Frames that are not square can only be turned by halves.
[[nodiscard]] std::vector<Trial> trials_for(int lenses, bool square);

/// Whether frames that meet all around as given would do so in this way as well, or nearly: then
/// only the small terms of the body tell the two apart. Of more than two lenses none does.
[[nodiscard]] bool keeps_ring(const Trial& trial, int lenses);

[[nodiscard]] std::vector<Image> arranged(const std::vector<Image>& frames, const Trial& trial);

}  // namespace seamwright
