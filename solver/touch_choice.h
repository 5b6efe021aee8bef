#pragma once

// Which ties of a touch speak, how much automatic ones are worth, and how far the body has flexed.

#include <optional>
#include <vector>

#include "base/result.h"
#include "solver/touch_problem.h"

namespace seamwright {

/// Meets every tie with the template and writes down how; `use` becomes 0 where that cannot be. A
/// manual tie that cannot be met is refused by name.
[[nodiscard]] std::optional<Error> meet_ties(const TouchProblem& problem, std::vector<char>& use,
                                             TouchResult& result);

/// Automatic ties are judged among themselves, with the body free to have flexed: who disagrees
/// with the many leaves, and the noise they really show is theirs from here on.
void reject_automatic(TouchProblem& problem, std::vector<char>& use);

/// The flex and the wrong ties of touch.h.
void choose_flex(const TouchProblem& problem, std::vector<char>& use, TouchResult& result);

}  // namespace seamwright
