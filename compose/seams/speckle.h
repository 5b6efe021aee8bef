#pragma once

#include "compose/seams/lens_depth.h"

namespace seamwright {

/// Small islands of depth that stand alone are errors that both lenses happened to agree on: turns
/// those of fewer than `least_px` pixels from `both` into `unsure`. An island ends where the
/// inverse distance of neighbours differs by more than `gap_inverse_m`. `closed`: columns wrap.
void doubt_speckle(LensDepth& depth, bool closed, double gap_inverse_m, int least_px);

}  // namespace seamwright
