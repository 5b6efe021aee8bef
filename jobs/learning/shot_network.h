#pragma once

// Where the shots of a learn run stood, roughly: the start of the joint solve.

#include <span>
#include <vector>

#include "features/shot_link.h"
#include "projection/tie.h"
#include "solver/shot_state.h"

namespace seamwright {

/// One state a shot. Shots that links join stand in one network, in the rig frame of its first
/// shot; shots without links stand alone. Networks grow along the links with most matches. A link
/// knows the direction between its shots well and their distance badly (by the pupils' own
/// baseline), so each new distance is taken from points that shots already placed see too, and the
/// size of the whole network from all links together.
[[nodiscard]] std::vector<ShotState> place_shots(const Rig& rig, std::span<const ShotLink> links,
                                                 std::span<const Tie> tracks, int shots);

}  // namespace seamwright
