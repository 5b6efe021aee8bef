#pragma once

// Somebody who walks past while a shot is taken.

#include <vector>

#include "apps/demo/house/palette.h"

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

/// The guest beside the body, on the side with more room, 1 to 2.1 m away: a little before the
/// plane between the lenses at lens 0's moment, as much behind it at lens 1's. From 1.8 m on, both
/// moments lie within the overlap of two lenses of 204 degrees.
std::vector<Shape> passing_guest(const Scene& scene, const Palette& p, const Walk& walk);

}  // namespace seamwright::demo
