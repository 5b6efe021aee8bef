#pragma once

// Shots that do not belong to a learn run: frames of two different shots, front and back swapped,
// another body. A solve over several shots outvotes them; left in, they still pull.

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/result.h"
#include "features/ties.h"
#include "imaging/pictures.h"
#include "solver/learn_rig.h"

namespace seamwright {

/// Shots whose ties between lenses fit the common rig far worse than those of most shots do. Empty
/// with fewer than three shots: then nobody knows which one is wrong.
[[nodiscard]] std::vector<int> suspect_shots(const LearnRigResult& solved,
                                             std::span<const Tie> ties, int shots);

/// The ties that two frames have in the other order, where those are clearly more than `as_given`:
/// then front and back are swapped. Empty of other numbers of lenses.
[[nodiscard]] Result<std::optional<int>> ties_if_swapped(const Pictures& frames, const Rig& rig,
                                                         int as_given, const TieOptions& options);

/// Why a suspect shot does not fit, in words: its frames matched as given (`as_given` ties) and,
/// for two lenses, the other way round.
[[nodiscard]] Result<std::string> reason_of_misfit(const Pictures& frames, const Rig& rig,
                                                   int as_given, const TieOptions& options);

/// Refuses ties that crowd in a small part of every overlap: they would leave the rest of the ring
/// to chance. `reports` are those of all shots that take part.
[[nodiscard]] std::optional<Error> crowded_ties(std::span<const TieReport> reports, int cells_psi);

}  // namespace seamwright
