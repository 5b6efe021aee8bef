#pragma once

// What a solution is worth, in the numbers that a template carries.

#include <optional>
#include <span>

#include "base/result.h"
#include "solver/adjust.h"
#include "solver/shared_terms.h"
#include "solver/solution.h"

namespace seamwright {

/// Counts and residuals of the ties, px of the rig's frames; `inlier` one a tie.
[[nodiscard]] SolutionQuality quality_of(const AdjustResult& result, std::span<const Tie> ties,
                                         int shots, std::span<const char> inlier, double spread);

/// Adds the RMS of the expected seam error over all pairs of lenses that overlap. Fails where none
/// do.
[[nodiscard]] std::optional<Error> add_expected_seam(const SharedTerms& terms,
                                                     RigSolution& solution);

}  // namespace seamwright
