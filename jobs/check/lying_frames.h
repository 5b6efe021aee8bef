#pragma once

#include <span>

#include "jobs/learning/learn.h"

namespace seamwright {

/// Whether the frames that a body was learned from lie on their side: the upright edges of its
/// rooms (compose/finish/verticals.h) then run level through the learned rig. The first three shots
/// that counted are asked, and most must say so. Where nothing is upright the answer is no, as it
/// is for frames that stand on their heads: edges do not tell up from down.
[[nodiscard]] bool frames_lie_on_side(std::span<const LearnShot> shots,
                                      const LearnOutcome& outcome);

}  // namespace seamwright
