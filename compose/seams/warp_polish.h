#pragma once

// The last fraction of a pixel of a warp.
//
// Depth is found in whole hypotheses and smoothed over surfaces: what is left between the warped
// pictures is small and even, and is measured where there is something to measure it by. With
// high-passed log light A and B and their mean slope g along η, a pixel's miss is the δ for which
// A(η) = B(η + δ): δ = Σ g (A − B) / (Σ g² + λ) over a small window (Lucas & Kanade 1981, IJCAI,
// in one dimension). λ is the variance that δ does not explain, over that of δ beforehand: grain
// and plain walls move nothing.

#include <optional>

#include "base/result.h"
#include "compose/seams/seam_views.h"
#include "compose/seams/view_warp.h"
#include "compose/seams/viewpoint_slide.h"

namespace seamwright {

struct WarpPolishOptions {
  double window_px = 2.5;  ///< σ of the window, ribbon px, 1…16
  double flat_px = 10;     ///< σ above which light is taken for shading and exposure, ribbon px
  double expect_px = 0.4;  ///< σ of the misses that the depth leaves, ribbon px
  double noise = 0.01;     ///< σ of log light at least
  double most_px = 1;      ///< no pixel is moved by more, ribbon px

  [[nodiscard]] std::optional<Error> validate() const;
};

/// Moves what each lens reads so that both agree better: by the walk's own shares, so that a lens
/// stays untouched where the panorama shows it alone. `views` are those of the warp. Fails on bad
/// options and on views of another size.
[[nodiscard]] Result<void> polish_warp(ViewWarp& warp, const ViewpointSlide& slide,
                                       const SeamViews& views,
                                       const WarpPolishOptions& options = {});

}  // namespace seamwright
