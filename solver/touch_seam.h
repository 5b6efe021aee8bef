#pragma once

#include <optional>

#include "base/result.h"
#include "solver/touch_problem.h"

namespace seamwright {

/// 1σ of every pair's seam with what was known before and after the ties, and by how much the touch
/// moved it. `result` has its step, flex and covariance.
[[nodiscard]] std::optional<Error> judge_seam(const TouchProblem& problem, TouchResult& result);

}  // namespace seamwright
