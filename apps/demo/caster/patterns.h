#pragma once

// The single patterns behind surface_at(); each returns the reflectance. `seed` already holds the
// shape's share where the material wants one.

#include "apps/demo/caster/material.h"

namespace seamwright::demo {

Rgb plaster_pattern(const Material& m, const FacePoint& p, std::uint32_t seed);
Rgb wallpaper_pattern(const Material& m, const FacePoint& p, std::uint32_t seed);
Rgb planks_pattern(const Material& m, const FacePoint& p, std::uint32_t seed);
Rgb tiles_pattern(const Material& m, const FacePoint& p, std::uint32_t seed);
Rgb brick_pattern(const Material& m, const FacePoint& p, std::uint32_t seed);
Rgb cobbles_pattern(const Material& m, const FacePoint& p, std::uint32_t seed);
Rgb grass_pattern(const Material& m, const FacePoint& p, std::uint32_t seed);
Rgb facade_pattern(const Material& m, const FacePoint& p, std::uint32_t seed);
Rgb roof_pattern(const Material& m, const FacePoint& p, std::uint32_t seed);

/// Wood with the grain along u, `base` to `second`.
Rgb wood_grain(const Material& m, float u, float v, float footprint, std::uint32_t seed);
Rgb wood_pattern(const Material& m, const FacePoint& p, std::uint32_t seed);
Rgb metal_pattern(const Material& m, const FacePoint& p, std::uint32_t seed);
Rgb fabric_pattern(const Material& m, const FacePoint& p, std::uint32_t seed);
Rgb rug_pattern(const Material& m, const FacePoint& p, std::uint32_t seed);
Rgb curtain_pattern(const Material& m, const FacePoint& p, std::uint32_t seed);
Rgb leaves_pattern(const Material& m, const FacePoint& p, std::uint32_t seed);

Rgb books_pattern(const Material& m, const FacePoint& p, std::uint32_t seed);
Rgb painting_pattern(const Material& m, const FacePoint& p, std::uint32_t seed);
Rgb sign_pattern(const Material& m, const FacePoint& p, std::uint32_t seed);
Rgb notice_pattern(const Material& m, const FacePoint& p, std::uint32_t seed);
Rgb panelled_door_pattern(const Material& m, const FacePoint& p, std::uint32_t seed);
Rgb clock_face_pattern(const Material& m, const FacePoint& p, std::uint32_t seed);
Rgb key_rack_pattern(const Material& m, const FacePoint& p, std::uint32_t seed);

}  // namespace seamwright::demo
