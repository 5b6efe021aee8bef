#pragma once

#include "base/result.h"
#include "compose/render/pair_ribbon.h"
#include "compose/render/seam_plan.h"
#include "compose/seams/viewpoint_slide.h"
#include "imaging/transfer.h"

namespace seamwright {

/// Finds where the seam of `pair` runs between its warped views, and what blends them. The warp is
/// made calm at moving subjects, polished, and made calm where it is torn; what stays torn is kept.
/// `slide`: the walk that the warp was made for. Fails as the polish, the path and the blend do.
[[nodiscard]] Result<void> route_seam(PairSeam& pair, const ViewpointSlide& slide,
                                      const RibbonFrames& frames, const GainMatch& gains,
                                      const TransferCurve& transfer, const SeamOptions& options);

}  // namespace seamwright
