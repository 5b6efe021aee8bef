#pragma once

#include <span>

#include "apps/demo/caster/scene.h"

namespace seamwright::demo {

/// One sample of the picture.
struct Sample {
  Ray ray;
  float angle_rad = 0;        ///< what the sample covers
  std::int32_t x = 0, y = 0;  ///< place in the raster of samples
};

/// Light arriving along a sample's ray, linear; a white wall in a well lit room is about 1.
Rgb light_along(const Scene& scene, std::span<const Shape> stand, const Sample& sample);

/// Fills the rooms' stored light: every lamp and window but the key light directly, all of them
/// by way of the room's surfaces. `cell_m` sets the lattice, 0.15…0.5. Uses all threads.
void store_light(Scene& scene, float cell_m);

/// Light of the sky in a direction, clouds and all.
Rgb sky_light(const Scene& scene, const Float3& direction, float angle_rad);

}  // namespace seamwright::demo
