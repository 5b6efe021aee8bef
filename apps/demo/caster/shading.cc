#include "apps/demo/caster/shading.h"

#include <array>

#include "apps/demo/caster/hash.h"
#include "apps/demo/caster/noise.h"

namespace seamwright::demo {
namespace {

constexpr Rgb kSkyBlue = {2.6F, 4.0F, 6.6F};
constexpr Rgb kSkyPale = {6.5F, 7.4F, 8.4F};
constexpr Rgb kGroundLight = {1.6F, 1.5F, 1.3F};
constexpr float kHazeLength_m = 900.0F;

/// A point of the lamp for a sample at (x, y) of the raster of samples. Any 4 × 4 samples share
/// the lamp evenly between them, the nearest neighbours taking opposite halves; which takes which
/// part changes from block to block, so that half shadows are grain and not a pattern.
Float3 offset_into_lamp(const Light& light, std::int32_t x, std::int32_t y) {
  const std::uint32_t block = lattice_hash(x >> 2, y >> 2, 17);
  const std::uint32_t own = lattice_hash(x, y, 91);
  const auto part = [&](std::uint32_t k, int shift) {
    const auto quarter = static_cast<float>(2U * (k & 1U) + ((k >> 1U) & 1U));
    return (quarter + static_cast<float>((own >> shift) & 255U) / 255.0F) / 4.0F - 0.5F;
  };
  const std::uint32_t a = (static_cast<std::uint32_t>(x) ^ block) & 3U;
  const std::uint32_t b = (static_cast<std::uint32_t>(y) ^ (block >> 8U)) & 3U;
  return Float3{part(a, 0), part(a ^ b, 8), part(b, 16)} * (0.45F * light.radius_m);
}

/// Irradiance from the room's key lamp, with one shadow ray.
Rgb key_light(const Scene& scene, std::span<const Shape> stand, const Light& light,
              const Float3& position, const Float3& normal, const Sample& sample) {
  const Float3 to_light = light.position - position;
  const float distance = length(to_light);
  const float cosine = dot(to_light, normal) / distance;
  if (cosine <= 0.0F) {
    return {};
  }
  const Float3 target = to_light + offset_into_lamp(light, sample.x, sample.y);
  const float reach = length(target);
  const Ray shadow{position, target * (1.0F / reach)};
  if (scene.blocked(shadow, stand, reach)) {
    return {};
  }
  return light.power * (cosine / (distance * distance + 0.09F));
}

bool through(const Bounds& opening, const Float3& p, const Float3& d) {
  const bool across_x = opening.high.x - opening.low.x < opening.high.z - opening.low.z;
  const float t = across_x ? (0.5F * (opening.low.x + opening.high.x) - p.x) / d.x
                           : (0.5F * (opening.low.z + opening.high.z) - p.z) / d.z;
  if (!(t > 0.0F)) {
    return false;
  }
  const Float3 q = p + d * t;
  return q.y > opening.low.y && q.y < opening.high.y &&
         (across_x ? q.z > opening.low.z && q.z < opening.high.z
                   : q.x > opening.low.x && q.x < opening.high.x);
}

Rgb sun_light(const Scene& scene, std::span<const Shape> stand, const Room* room,
              const Float3& position, const Float3& normal) {
  const float cosine = dot(scene.sun.direction, normal);
  if (cosine <= 0.0F) {
    return {};
  }
  if (room != nullptr) {
    bool lit = false;
    for (const Bounds& opening : room->sun_windows) {
      lit = lit || through(opening, position, scene.sun.direction);
    }
    if (!lit) {
      return {};
    }
  }
  if (scene.blocked({position, scene.sun.direction}, stand, 400.0F)) {
    return {};
  }
  return scene.sun.irradiance * cosine;
}

Rgb open_sky(const Float3& normal, float height_m) {
  const float up = 0.5F - 0.5F * normal.y;
  const Rgb sky = mix(kGroundLight, mix(kSkyBlue, kSkyPale, 0.5F), up);
  // Near the ground walls see less of the sky.
  const float near_ground =
      normal.y < -0.5F ? 1.0F : 1.0F - 0.35F / (1.0F + larger(0.0F, height_m));
  return sky * (0.75F * near_ground);
}

Rgb haze(const Rgb& light, float distance_m) {
  const float share = distance_m / (distance_m + kHazeLength_m);
  return mix(light, kSkyPale * 0.8F, share);
}

Rgb shape_light(const Scene& scene, std::span<const Shape> stand, const Sample& sample,
                const RayHit& hit) {
  const Float3 position = sample.ray.origin + sample.ray.direction * hit.t;
  FaceFrame frame = face_frame(*hit.shape, hit.face, position);
  float facing = -dot(frame.normal, sample.ray.direction);
  if (facing < 0.0F) {
    frame.normal = -frame.normal;
    facing = -facing;
  }
  // Grazing surfaces are covered more widely; the square root lies between the two axes.
  frame.point.footprint = hit.t * sample.angle_rad / std::sqrt(larger(facing, 0.02F));
  const auto material = hit.shape->materials[static_cast<std::size_t>(hit.face)];
  const Surface surface = surface_at(scene.materials[material], frame.point);
  const Float3 lifted = position + frame.normal * 1e-3F;
  const Room* room = scene.room_at(lifted);
  Rgb irradiance;
  if (room != nullptr && !room->stored.empty()) {
    const LightGrid& grid = room->stored;
    irradiance = grid.irradiance(position + frame.normal * (0.6F * grid.cell_m()), frame.normal);
    irradiance += key_light(scene, stand, room->lights[static_cast<std::size_t>(room->key_light)],
                            lifted, frame.normal, sample);
    if (!room->sun_windows.empty()) {
      irradiance += sun_light(scene, stand, room, lifted, frame.normal);
    }
  } else {
    irradiance = open_sky(frame.normal, -position.y) +
                 sun_light(scene, stand, nullptr, lifted, frame.normal);
  }
  const Rgb light = surface.albedo * irradiance + surface.emission;
  return hit.t > 40.0F ? haze(light, hit.t - 40.0F) : light;
}

Rgb backdrop_light(const Scene& scene, const Sample& sample, const RayHit& hit) {
  const Float3 p = sample.ray.origin + sample.ray.direction * hit.t;
  FacePoint point;
  point.u = std::atan2(p.x, p.z) * hit.backdrop->radius_m;
  point.v = p.y;
  point.tile_u = point.u;
  point.tile_v = point.v;
  point.footprint = hit.t * sample.angle_rad;
  const Surface surface = surface_at(scene.materials[hit.backdrop->material], point);
  return haze(surface.albedo * Rgb{7.0F, 6.8F, 6.2F}, hit.t - 40.0F);
}

}  // namespace

Rgb sky_light(const Scene& scene, const Float3& d, float angle_rad) {
  const float up = larger(0.0F, -d.y);
  Rgb light = mix(kSkyPale, kSkyBlue, clamp01(1.6F * up));
  // Clouds lie on a plane; the horizon fades into haze.
  const float slant = 1.0F / (up + 0.12F);
  const float x = d.x * slant;
  const float y = d.z * slant;
  const float footprint = angle_rad * slant * slant * 0.5F;
  const float shape =
      fractal_noise(x, y, {.frequency = 1.6F, .count = 9, .gain = 0.66F}, footprint, 4021);
  const float lit = fractal_noise(x + 0.05F, y - 0.04F,
                                  {.frequency = 2.6F, .count = 9, .gain = 0.76F}, footprint, 977);
  const float cover = clamp01(0.5F + 1.3F * shape);
  const Rgb cloud =
      mix(Rgb{4.6F, 5.0F, 5.6F}, Rgb{12.5F, 12.2F, 11.8F}, clamp01(0.5F + 0.42F * lit));
  light = mix(light, cloud, cover * clamp01(6.0F * up));
  const float near_sun = larger(0.0F, dot(d, scene.sun.direction));
  const auto squared = [](float v, int times) {
    for (int i = 0; i < times; ++i) {
      v *= v;
    }
    return v;
  };
  return light + Rgb{3.0F, 2.8F, 2.4F} * squared(near_sun, 5) +
         Rgb{60.0F, 56.0F, 48.0F} * squared(near_sun, 12);
}

Rgb light_along(const Scene& scene, std::span<const Shape> stand, const Sample& sample) {
  const RayHit hit = scene.look(sample.ray, stand);
  switch (hit.what) {
    case RayHit::What::shape:
      return shape_light(scene, stand, sample, hit);
    case RayHit::What::backdrop:
      return backdrop_light(scene, sample, hit);
    case RayHit::What::sky:
      break;
  }
  return sky_light(scene, sample.ray.direction, sample.angle_rad);
}

}  // namespace seamwright::demo
