#pragma once

#include <span>

#include "solver/touch.h"

namespace seamwright {

/// Fills `findings` and `advice` of a touch that is otherwise complete.
void say_findings(const Rig& rig, std::span<const Tie> ties, const TouchOptions& options,
                  TouchResult& result);

}  // namespace seamwright
