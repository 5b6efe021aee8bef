#pragma once

// How a tie meets a rig, and in which words to say where it is.

#include <optional>
#include <string>

#include "solver/reduced_tie.h"
#include "solver/touch.h"

namespace seamwright {

/// Fit of a tie and where it lies, between the two of its lenses that agree least; empty when a
/// sight lies outside its lens.
[[nodiscard]] std::optional<TouchTie> meet_tie(const Rig& rig, const Tie& tie,
                                               const DepthKnowledge& depth);

/// "90 degrees (below, as lens 0 sees it)".
[[nodiscard]] std::string azimuth_in_words(const Rig& rig, int lens_a, int lens_b, double psi_rad);

}  // namespace seamwright
