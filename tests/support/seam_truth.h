#pragma once

// How far apart two lenses draw the same thing at a seam, against the demo's true geometry.

#include <vector>

#include "apps/demo/demo.h"
#include "compose/render/seam_plan.h"

namespace seamwright::test {

/// One place of the panorama. What lens a shows there is found in the room, by the true body; where
/// lens b shows the very same point decides how far the two pictures miss each other.
struct SeamMiss {
  double psi_rad = 0;
  double parallax_px = 0;  ///< along η, in px of the panorama: depth or mounting is wrong
  double sideways_px = 0;  ///< along ψ: only mounting or lens can be wrong
  double distance_m = 0;
  /// Steepest change of light along η within 3 px of the place, as a share of the light, per px of
  /// the ribbon: how much a miss would show. 0 if the plan kept no views.
  double contrast = 0;

  [[nodiscard]] double px() const;
};

/// What is compared with what.
struct SeamTruth {
  const Rig& used;  ///< the rig that the plan was made with
  const Rig& real;  ///< the shot's true one, for frames of the same size
  const DemoScene& scene;
  const DemoShot& shot;
  double panorama_px_per_rad = 1;
};

/// Rows, one a column, at which to look: continuous rows of the warp's grid.
[[nodiscard]] std::vector<double> middle_rows(const PairSeam& pair, double off_rad);

/// Misses where both lenses see the point, at most one a column. `warped`: with the pair's shifts,
/// else as at infinity.
[[nodiscard]] std::vector<SeamMiss> seam_misses(const PairSeam& pair, const SeamTruth& truth,
                                                const std::vector<double>& rows, bool warped);

/// Quantile of SeamMiss::px, 0…1; throws where there is none.
[[nodiscard]] double quantile_px(const std::vector<SeamMiss>& misses, double quantile);

}  // namespace seamwright::test
