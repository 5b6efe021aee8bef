#pragma once

// Somebody who walks past while a shot is taken.

#include <vector>

#include "demo/house/palette.h"

namespace seamwright::demo {

/// A grown person in mid-step who walks along +z of `feet`.
std::vector<Shape> guest_at(const Palette& p, const Place& feet);

/// A walk past a two-lens body whose lenses expose one after the other.
struct Walk {
  Float3 body;             ///< the rig's origin, world
  float floor_height = 0;  ///< under it
  float heading_rad = 0;   ///< where lens 0 looks
  bool first_lens = true;  ///< the moment of lens 0, else of lens 1
};

/// The guest beside the body, on the side with more room, 0.75 to 1.5 m away: one step before the
/// plane between the lenses at lens 0's moment, one step behind it at lens 1's. Each lens so has a
/// place of the other's picture in which nobody stands.
std::vector<Shape> passing_guest(const Scene& scene, const Palette& p, const Walk& walk);

}  // namespace seamwright::demo
