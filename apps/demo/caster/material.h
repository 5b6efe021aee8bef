#pragma once

#include <cstdint>
#include <string>

#include "apps/demo/caster/float3.h"

namespace seamwright::demo {

enum class Pattern : std::uint8_t {
  // surfaces of a building
  plaster,
  wallpaper,
  planks,  ///< floor boards
  tiles,
  brick,
  cobbles,
  grass,
  facade,  ///< outside wall with rows of windows
  roof,
  // things
  wood,
  metal,
  fabric,  ///< weave; checked when `second` differs from `base`
  rug,
  books,  ///< one row of spines
  painting,
  sign,    ///< `text`, centred
  notice,  ///< a heading `text` over lines of small print
  panelled_door,
  clock_face,
  key_rack,
  curtain,
  leaves,
  glow,  ///< gives light evenly
};

/// What a surface is made of. Lengths in metres; colours are reflectances in linear light.
struct Material {
  Pattern pattern = Pattern::plaster;
  Rgb base = {0.6F, 0.6F, 0.6F};
  Rgb second = {0.6F, 0.6F, 0.6F};
  Rgb third = {0.6F, 0.6F, 0.6F};
  float scale_m = 0.2F;  ///< period, tile size, plank width…
  float contrast = 1;    ///< of the pattern's irregularity
  std::uint32_t seed = 0;
  bool per_shape = false;     ///< every shape gets its own variant
  bool grain_across = false;  ///< wood grain along v instead of u
  float emission = 0;         ///< radiance given off, times `base`
  std::string text = {};
};

/// A point on a face, as the patterns see it. u grows to the right and v downwards for someone who
/// looks at the face from outside.
struct FacePoint {
  float u = 0, v = 0;            ///< metres from the face's top left
  float width = 1, height = 1;   ///< of the face, metres
  float tile_u = 0, tile_v = 0;  ///< metres from the world's origin along the same axes
  float footprint = 0;           ///< what a sample covers, metres
  std::uint32_t seed = 0;        ///< of the shape
};

struct Surface {
  Rgb albedo;
  Rgb emission;
};

Surface surface_at(const Material& material, const FacePoint& point);

}  // namespace seamwright::demo
