#pragma once

// Purple and blue glow at bright edges: what a lens does not bring to the focus of green (axial
// colour, a wide-open lens in blue), and what microlenses scatter. Lateral colour is another matter
// (features/fringe.h).
//
// An edge without glow mixes the colours of its two sides: in linear light its pixels lie on the
// line between them (colour lines, Omer & Werman 2004, CVPR, 2:946–953), and no difference of two
// colours leaves the range of its sides (Chung, Kim, Song 2010, Optical Engineering 49:067002).
// Green tells how far along the line a pixel is; red and blue above the line are glow if
//
//   - a side nearby is much brighter (glow comes with bright edges: Kim & Park 2008, EUSIPCO);
//   - they look blue to purple, blue leading;
//   - they are less than the step between the sides can spill, where it is not clipped.
//
// The dark side is read beyond the reach of the glow, several ways, at its most purple place: a
// thing that is truly purple keeps its colour there and up to the edge. What is narrower than the
// reach of the glow is read at its least purple place: purple letters on white stay, and of a dark
// bar between two windows that much glow stays as fills its middle. A purple thing narrower than
// the reach, as light in green as what lies behind it, and beside something bright, is taken for
// glow.

#include <cstdint>
#include <optional>

#include "base/result.h"
#include "imaging/image.h"

namespace seamwright {

/// How far glow is looked for on the dark side of an edge, in degrees of the panorama, and at least
/// in pixels.
inline constexpr double kGlowReach_deg = 0.4;
inline constexpr double kGlowReachAtLeast_px = 3.0;

struct GlowRemoval {
  std::int64_t changed_px = 0;
  /// Grey, 8 bits: 255 · how much of the light of red and blue was taken from a pixel.
  Image mask;
};

/// Takes the glow off a whole panorama in place, in linear light. `strength` 0…1 is the share that
/// goes; at 0 nothing is done. Green, alpha, and all pixels without glow keep their bytes. Grey
/// panoramas have none. Fails on a strength outside, on a picture that is no whole sphere, and on a
/// broken profile.
[[nodiscard]] Result<GlowRemoval> remove_glow(Image& panorama, double strength);

/// Says whether a strength is one.
[[nodiscard]] std::optional<Error> check_glow_removal(double strength);

}  // namespace seamwright
