#pragma once

// From rays to linear pictures: 2 × 2 rays a pixel, one small optical blur, lateral colour.

#include <span>
#include <vector>

#include "apps/demo/camera.h"
#include "apps/demo/caster/shading.h"
#include "projection/lens.h"

namespace seamwright::demo {

/// Linear light, `width_px` × (last − first) pixels, red, green, blue.
struct Band {
  int first_row = 0;
  int width_px = 0;
  std::vector<Rgb> pixels;
};

/// The light on rows [first_row, last_row) of a camera's raster. With `fringes` (the lens itself)
/// red and blue are read where its lateral colour puts them: their pictures are the green picture
/// scaled about the principal point. The optical blur is the same for all colours, about 0.5 px
/// standard deviation.
Band expose_band(const Scene& scene, std::span<const Shape> stand, const Camera& camera,
                 const Lens* fringes, int first_row, int last_row);

/// Where green sees what a colour with these terms shows at `px`.
Vec2 green_position(const Lens& lens, const FringeTerms& colour, const Vec2& px);

}  // namespace seamwright::demo
