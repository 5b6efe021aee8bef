#pragma once

// Do the lenses' pictures meet along the seam that a stitch would take?
//
// The misalignment of ring_check.h is that of the mounting, before near things are joined by their
// depth. Here the finished warp is looked at: in patches along the seam, how far lens b's picture
// still lies from lens a's, and how alike they are (compose/seams/seam_residual.h).

#include <span>
#include <vector>

#include "base/result.h"
#include "compose/render/seam_plan.h"
#include "jobs/shot/stitch_findings.h"
#include "projection/rig.h"

namespace seamwright {

/// One place on a seam where there is something to see. Px of a panorama of native width.
struct SeamPlace {
  int lens_a = 0;
  int lens_b = 1;
  double psi_rad = 0;
  Vec3 direction = Vec3::UnitX();  ///< rig frame
  double parallax_px = 0;          ///< what is left of the misfit
  double sideways_px = 0;
  double likeness = 0;  ///< of both pictures without that misfit, correlation −1…1
  double contrast = 0;  ///< standard deviation of log light there
  double shows_px = 0;  ///< so much of the misfit shows: along an edge nobody sees it
};

struct SeamCheck {
  std::vector<SeamPlace> places;
  double p95_px = 0;       ///< of SeamPlace::shows_px, of places that tell and are alike
  double plain_share = 0;  ///< of the seam, where nothing shows
};

/// From this likeness on two pictures show the same thing.
inline constexpr double kAlike = 0.6;

/// Somebody would see it if the pictures did not meet here: enough contrast, and not the stand.
[[nodiscard]] bool tells(const SeamPlace& place);

/// `plan` made for `rig` with its views kept; `rig` of the frames' size.
[[nodiscard]] Result<SeamCheck> check_seams(const Rig& rig, const SeamPlan& plan);

}  // namespace seamwright
