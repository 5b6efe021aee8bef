#pragma once

// What is wrong with a stitched panorama, against the room itself: an ideal panorama from the
// middle between the pupils, and how far everything in it is.

#include <vector>

#include "body.h"

namespace independent {

/// Upright, looking where the body heads.
struct Room {
  Picture light;    ///< from the middle, equirectangular
  Picture depth_m;  ///< of the same directions, in its first channel
};

/// From 1 − exp(−distance / 4 m), as room.pov renders depth.
[[nodiscard]] Picture depth_of(const Picture& fog);

struct Placing {
  Vector3d turn_deg;    ///< of the panorama against the room, about right, down, ahead
  double tilt_deg = 0;  ///< away from upright
  double miss_px =
      0;  ///< median distance of a patch from where its lens must see it, px of a frame's middle
  int patches = 0;
};

/// Where the panorama shows what one lens alone sees, against where that lens' pupil must see it.
[[nodiscard]] Placing placing(const Picture& stitched, const Room& room, const Stand& stand);

/// A textured patch where the lenses meet.
struct SeamPatch {
  double around_deg = 0;  ///< from the body's right, downwards
  double likeness = 0;    ///< to the room, under the best shift and stretch
};

struct SeamPatches {
  int textured = 0;
  double broken = 0;     ///< share that is unlike the room under any shift and stretch: below 0.85
  double blemished = 0;  ///< the same below 0.93
  double unlike = 0;     ///< mean of 1 − likeness
  std::vector<SeamPatch> patches;
};

/// Patches of 4.2 degrees, every 2.1, where the lenses meet; but for 20 degrees around straight
/// down, where the stand is.
[[nodiscard]] SeamPatches seam_patches(const Picture& stitched, const Room& room,
                                       const Stand& stand, const Vector3d& turn_deg);

/// How far the panorama's light is from the room's, one factor a channel for the whole picture.
/// Zones are rings of 10 degrees around each lens' axis; in them noise and edges average out and
/// gains and vignetting stay.
struct ZoneLight {
  double most = 0;  ///< largest |ratio − 1| of a zone
  int zones = 0;
};

/// Only what is nowhere brighter than `white` in the room counts.
[[nodiscard]] ZoneLight zone_light(const Picture& stitched, const Room& room, const Stand& stand,
                                   const Vector3d& turn_deg, double white);

struct FrameLight {
  double p95 = 0;  ///< of |ratio − 1| over means of 8 × 8 px, one factor for the frame
  double most = 0;
  int means = 0;
};

/// Light of a merged frame against what fell on the sensor, where that is between `dark` and
/// `white`.
[[nodiscard]] FrameLight frame_light(const Picture& merged, const Picture& truth, double dark,
                                     double white);

}  // namespace independent
