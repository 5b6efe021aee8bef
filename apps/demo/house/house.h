#pragma once

// The guest house: a hall in the middle, the breakfast room to its east, the library to its west,
// room 3 to its north, and the courtyard to the south. The hall's south-west inner corner is the
// world's origin; x runs east, z north, the ground floor lies at height 0.

#include "apps/demo/caster/scene.h"
#include "apps/demo/house/furniture.h"

namespace seamwright::demo {

struct House {
  Scene scene;
  Palette palette;
};

/// Geometry, materials and lights; stored light is still empty.
House build_house();

/// The pole and feet that carry the body whose origin is at `body` (world). The first shape is the
/// pole.
std::vector<Shape> stand_under(const Palette& p, const Float3& body, float floor_height);
/// A ball, centre in the world.
Shape ball_at(const Palette& p, const Float3& centre);

// Parts of build_house(): each adds its walls, furniture and Room.
void build_hall(Builder& b, const Palette& p);
void build_breakfast_room(Builder& b, const Palette& p);
void build_library(Builder& b, const Palette& p);
void build_bedroom(Builder& b, const Palette& p);
void build_courtyard(Builder& b, const Palette& p);

/// A room's air between two corners (x, z), up to `height`.
Bounds air(float x0, float z0, float x1, float z1, float height);

/// A window as a light: the middle of the opening, its width and height, and the heading it shines
/// to.
Light window_light(const Builder& b, const Place& middle, float width, float height,
                   const Rgb& radiance);
Light lamp_light(const Float3& position, const Rgb& at_1_m);

}  // namespace seamwright::demo
