#include "apps/demo/caster/material.h"

#include "apps/demo/caster/patterns.h"

namespace seamwright::demo {
namespace {

Rgb reflectance(const Material& m, const FacePoint& p, std::uint32_t seed) {
  switch (m.pattern) {
    case Pattern::plaster:
      return plaster_pattern(m, p, seed);
    case Pattern::wallpaper:
      return wallpaper_pattern(m, p, seed);
    case Pattern::planks:
      return planks_pattern(m, p, seed);
    case Pattern::tiles:
      return tiles_pattern(m, p, seed);
    case Pattern::brick:
      return brick_pattern(m, p, seed);
    case Pattern::cobbles:
      return cobbles_pattern(m, p, seed);
    case Pattern::grass:
      return grass_pattern(m, p, seed);
    case Pattern::facade:
      return facade_pattern(m, p, seed);
    case Pattern::roof:
      return roof_pattern(m, p, seed);
    case Pattern::wood:
      return wood_pattern(m, p, seed);
    case Pattern::metal:
      return metal_pattern(m, p, seed);
    case Pattern::fabric:
      return fabric_pattern(m, p, seed);
    case Pattern::rug:
      return rug_pattern(m, p, seed);
    case Pattern::books:
      return books_pattern(m, p, seed);
    case Pattern::painting:
      return painting_pattern(m, p, seed);
    case Pattern::sign:
      return sign_pattern(m, p, seed);
    case Pattern::notice:
      return notice_pattern(m, p, seed);
    case Pattern::panelled_door:
      return panelled_door_pattern(m, p, seed);
    case Pattern::clock_face:
      return clock_face_pattern(m, p, seed);
    case Pattern::key_rack:
      return key_rack_pattern(m, p, seed);
    case Pattern::curtain:
      return curtain_pattern(m, p, seed);
    case Pattern::leaves:
      return leaves_pattern(m, p, seed);
    case Pattern::glow:
      break;
  }
  return m.base;
}

}  // namespace

Surface surface_at(const Material& material, const FacePoint& point) {
  const std::uint32_t seed = material.seed + (material.per_shape ? point.seed * 2654435761U : 0U);
  const Rgb colour = larger(reflectance(material, point, seed), {0.005F, 0.005F, 0.005F});
  if (material.emission > 0.0F) {
    return {colour * 0.3F, colour * material.emission};
  }
  return {colour, {}};
}

}  // namespace seamwright::demo
