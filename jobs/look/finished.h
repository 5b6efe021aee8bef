#pragma once

// The picture for displays that a look asks for.
//
// Of light, in this order, with x the largest of the three channels of a pixel:
//
//   1. Every channel gets its factor (factors_of(), von Kries).
//   2. Windows: the panorama is parted into a smooth base and detail (smooth_base.h). From
//      `windows_from_ev` above the shown level on, the base rises by `windows_slope` of a stop for
//      each stop; the corner is rounded, its slope a smooth step. Detail is kept as it is, so that
//      what stands outside of a window stays as crisp as it was. Halving the range of the base and
//      keeping detail is Durand & Dorsey's 2002 (ACM Trans. Graphics 21:257–266).
//   3. Middle tones of the base get contrast: what is brighter than the shown level becomes
//      brighter still, and what is darker becomes darker, by a smooth step of `contrast_ev` in all
//      over two stops. White things part from grey ones, and the grain of a plaster stays what it
//      is. Then x goes through the display curve of jobs/brackets/tone.h.
//   4. Near white a colour pales, as film does: lamps become light and not yellow paint.
//
// Of frames that were made for displays only what is safe, in linear light: the factors, none of
// them above 1, which fade to 1 where a channel is full, for a clipped pixel tells no colour; and
// one curve for x that keeps black and white where they are and brings the room's level to where it
// is wanted,
//
//   y = p x / ((p − 1) x + 1)
//
// (Schlick 1995, Photorealistic Rendering Techniques, 7–20). Its slope at black is p, it rises all
// the way, and it rolls off to white by itself. Papers from memory.

#include <optional>

#include "base/result.h"
#include "imaging/image.h"
#include "jobs/brackets/tone.h"
#include "jobs/look/look.h"

namespace seamwright {

/// The numbers of steps 2 to 4.
struct FinishCurve {
  double windows_from_ev = 1.4;
  double windows_slope = 0.5;
  double contrast_ev = 0.5;  ///< between the dark and the bright end of the middle tones
  double straight_to = 0.35;
  double headroom = 1.25;  ///< white is so much brighter than the brightest, so that it has detail
  double pale_from = 0.7;  ///< of display light; colour begins to pale
  double paled = 0.6;      ///< of the colour is gone at white
};

/// A 16-bit picture of float linear light (a whole equirectangular panorama), with a profile that
/// says the sRGB curve on the picture's own primaries. `tone.local` levels the base further, as
/// DisplayOptions has it. Fails on broken profiles.
[[nodiscard]] Result<Image> finished_light(const Image& light, const DisplayLook& look,
                                           const ToneWish& tone, const FinishCurve& curve = {});

/// The slope p that brings display light `from` to `to`, both between 0 and 1.
[[nodiscard]] double safe_slope(double from, double to);

/// Changes a picture of integer samples in place. Fails on broken profiles.
[[nodiscard]] Result<void> finish_frames(Image& picture, const DisplayLook& look);

}  // namespace seamwright
