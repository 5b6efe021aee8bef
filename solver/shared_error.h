#pragma once

// Ties err together: those on one piece of furniture share how its look changes with the point of
// view, neighbours share pixels, and a part of the ring shares what the lens model leaves. So many
// of them are worth fewer independent ones. How many shows in the residuals themselves: summed over
// a sector of the ring, independent ones grow with the root of their number, shared ones with it.

#include <span>

namespace seamwright {

/// What is left of a tie on the ring of two lenses.
struct RingResidual {
  int lens_a = 0;
  int lens_b = 1;
  double psi_rad = 0;
  double sigmas = 0;  ///< with its sign; any unit that is the same for all
};

/// How many times as much variance the sum of all has as if they erred independently, never less
/// than 1 (the design effect of Kish 1965, Survey Sampling, with sectors as clusters):
///
///     Σ over sectors (Σ residuals of the sector)² / Σ residuals²
///
/// with both sums scaled up for the `fitted` freedoms that the rig took from as many sectors and as
/// many residuals.
/// A sector is 22.5° of the ring, about what a chair two metres away fills. What all sectors share
/// cannot be seen: the fit has taken it.
[[nodiscard]] double design_effect(std::span<const RingResidual> residuals, int fitted);

}  // namespace seamwright
