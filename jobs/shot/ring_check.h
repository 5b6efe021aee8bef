#pragma once

// Do the lenses of this shot sit where the template says?
//
// Ties are found around the ring as in learning, with room for a body that was knocked, and the
// template is touched with them (solver/touch.h): the body's own flex and the template's covariance
// against what the ties say. How far the touched rig would move the seam is the shot's misalignment
// under its template; the touched rig's covariance is how sure that is. What parallax explains does
// not count: every tie has a depth of its own.

#include <optional>
#include <vector>

#include "base/result.h"
#include "features/ties.h"
#include "imaging/pictures.h"
#include "solver/touch.h"
#include "templates/rig_template.h"

namespace seamwright {

/// One azimuth of one pair's ring; px of the frames at their peak resolution, which are those of a
/// panorama of native width.
struct RingPlace {
  int lens_a = 0;
  int lens_b = 1;
  double psi_rad = 0;
  Vec3 direction = Vec3::UnitX();  ///< rig frame
  double parallax_px = 0;          ///< misalignment at infinity
  double sideways_px = 0;
  double sigma_px = 0;  ///< 1σ of √(parallax² + sideways²)

  [[nodiscard]] double px() const;
};

struct RingCheck {
  TieSet ties;  ///< in the frames' pixels
  int matched = 0;
  int consistent = 0;     ///< of those, agree with one rig near the template
  bool readable = false;  ///< enough of them; else the rest is empty
  std::vector<RingPlace> places;
  double p95_px = 0;        ///< of RingPlace::px
  double expected_px = 0;   ///< 1σ of the template itself there, its flex included, RMS
  double sigma_px = 0;      ///< 1σ of the misalignment found, RMS
  double flex_deg = 0;      ///< how far the lenses turned, of the ladder of touch.h
  double unseen_share = 0;  ///< of the ring's sectors without a tie
  bool contradicts_template = false;
  double left_px = 0;     ///< what the touch leaves sideways, RMS of the ties that it used
  double used_share = 0;  ///< of the ties, by the touch
  std::optional<TouchResult> touched = {};  ///< in the template's pixels; where readable

  /// The largest misalignment beside a tie; null where nothing was measured.
  [[nodiscard]] const RingPlace* worst() const;
};

/// `frames` one per lens, uncropped frames of the template's body at any size.
[[nodiscard]] Result<RingCheck> check_ring(
    const RigTemplate& body, const Pictures& frames,
    const TieOptions& options = TieOptions::of_knocked_body());

}  // namespace seamwright
