#pragma once

// Sub-pixel refinement of one sight of a track against the track's reference sight.
//
// The patch around the reference is laid on a small plane at the point's distance and carried into
// the other view by the motion between the stands, so that rotation, scale and slant start about
// right; the slant is the best of a few that rooms have. Alignment (patch_aligner.h) then moves the
// other patch only: the reference is where the point is by definition. Half of the covariance of
// the difference is given to each, since both patches carry noise.

#include <optional>

#include "features/refine.h"
#include "features/relative_pose.h"
#include "features/tracks.h"
#include "sampling/lens_view.h"

namespace seamwright {

/// A place in a view.
struct ViewPoint {
  const LensView* view = nullptr;
  Vec2 px = Vec2::Zero();
};

struct RefinedSight {
  Vec2 px = Vec2::Zero();                        ///< of the other sight
  Mat2 covariance_px2 = Mat2::Zero();            ///< of the other sight
  Mat2 reference_covariance_px2 = Mat2::Zero();  ///< of the reference as this alignment has it
  double ncc = 0;
};

/// `other_from_reference` carries points between the rig frames; `distance` is that of the point
/// from the reference's pupil, in the same units. Empty when a patch leaves its field of view, has
/// no texture, does not converge, drifts too far, does not correlate, constrains too little, or
/// straddles a depth edge. Thread-safe.
[[nodiscard]] std::optional<RefinedSight> refine_sight(const ViewPoint& reference,
                                                       const ViewPoint& other,
                                                       const RelativePose& other_from_reference,
                                                       double distance,
                                                       const TrackRefineOptions& options = {});

}  // namespace seamwright
