#pragma once

#include "compose/seams/lens_depth.h"
#include "projection/ribbon.h"

namespace seamwright {

/// What both depths need to be compared.
struct CheckOptions {
  double px_per_inverse_m = 1;  ///< disparity of an inverse distance of one, ribbon px
  double most_px = 1;           ///< disparities of the two lenses that still agree
};

/// Compares the depths of both lenses and sets `visibility`: `both` where each finds the other's
/// pixel at the same depth. Where not: `outside` if the other lens does not look there; `unsure` if
/// some pixel of the other lens claims to show the same point, so that it is not hidden; else
/// `hidden` (Hirschmüller 2008, §2.5). Confidence becomes 0 where not `both`.
void check_each_other(LensDepth& a, LensDepth& b, const RibbonGrid& grid,
                      const CheckOptions& options);

/// Fills what is not `both` from the nearest that are, in eight directions, those that look alike
/// first: what is hidden with the farthest of them, since it lies behind what hides it, all else
/// with their weighted median.
void fill_gaps(LensDepth& depth, const Strip& strip);

}  // namespace seamwright
