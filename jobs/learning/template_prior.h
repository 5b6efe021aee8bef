#pragma once

// What a template knows, as what a solve is told beforehand.

#include "solver/body_spread.h"
#include "solver/shared_terms.h"
#include "templates/rig_template.h"

namespace seamwright {

/// A template's covariance as a prior on all rig terms. Terms whose names it does not hold are told
/// by the spread of bodies, and so is all where it holds a name that is none of `terms`.
[[nodiscard]] SharedPrior prior_of_template(const RigTemplate& from, const BodySpread& spread,
                                            const SharedTerms& terms);

}  // namespace seamwright
