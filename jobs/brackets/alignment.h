#pragma once

#include <optional>

#include "jobs/brackets/exposed.h"
#include "jobs/brackets/noise_model.h"

namespace seamwright {

/// How a frame lies against the reference: reference pixel p is seen at c + R(turn)(p − c) + shift,
/// c the middle of the frame; v points down, so a positive turn is clockwise.
struct FrameMotion {
  double shift_u_px = 0;
  double shift_v_px = 0;
  double turn_rad = 0;

  /// Largest move of any pixel of a frame of this size.
  [[nodiscard]] double reach_px(int width, int height) const;
};

struct MeasuredMotion {
  FrameMotion motion;
  double sigma_px = 0;  ///< standard error of the shift, from the residuals
  double share = 0;     ///< of the compared pixels that agreed
};

/// Finds the motion by direct alignment of light over exposure, coarse to fine (Lucas and Kanade
/// 1981; the reference's gradient is kept, Baker and Matthews 2004). Pixels clipped in either frame
/// do not count, noise weighs the others, and Huber's weights keep subjects that walk from pulling.
/// Reaches shifts of about a twelfth of the frame. Empty when there is too little to go by: fewer
/// than 500 pixels in common, or no structure in some direction.
[[nodiscard]] std::optional<MeasuredMotion> measure_motion(const Exposed& reference,
                                                           const Exposed& frame,
                                                           const NoiseModel& noise,
                                                           double clip_level);

/// The frame on the reference's raster: Catmull-Rom, held between the smallest and the largest of
/// the four nearest sources, so that a bright window does not ring into the wall. A pixel any of
/// whose 16 sources is clipped becomes white in all channels; beyond the frame's edge its last
/// pixels are repeated.
[[nodiscard]] Image moved_onto_reference(const Exposed& frame, const FrameMotion& motion,
                                         double clip_level);

/// The largest upright rectangle about the middle that the moved frame fills with pixels of its
/// own.
[[nodiscard]] Extent moved_extent(int width, int height, const FrameMotion& motion);

}  // namespace seamwright
