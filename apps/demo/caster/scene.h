#pragma once

// The world of the demo as the ray caster sees it: shapes and materials, lights, rooms with their
// stored indirect light, the far backdrop and the sky.

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "apps/demo/caster/bvh.h"
#include "apps/demo/caster/light_grid.h"
#include "apps/demo/caster/material.h"
#include "apps/demo/caster/shape.h"

namespace seamwright::demo {

/// A lamp (radius > 0) or a bright rectangle such as a window (edges ≠ 0).
struct Light {
  Float3 position;        ///< of the lamp, or the rectangle's middle
  Float3 edge_u, edge_v;  ///< full edges of the rectangle
  Float3 normal;          ///< the rectangle's side that shines
  float radius_m = 0;
  Rgb power;  ///< lamp: irradiance at 1 m; rectangle: radiance
};

/// A box of air with its own lights. Light that comes through open doors arrives by reflection.
struct Room {
  std::string name;
  Bounds bounds;  ///< of the air between the walls
  std::vector<Light> lights;
  int key_light = 0;                ///< shaded with its own shadow ray; the others are stored
  std::vector<Bounds> sun_windows;  ///< openings that let the sun in; thin boxes
  LightGrid stored;
};

/// Silhouette on a wide vertical cylinder around the house.
struct Backdrop {
  float radius_m = 0;
  float base_height_m = 0;  ///< mean height of the crest above the ground
  float relief_m = 0;       ///< how much the crest rises and falls
  float frequency = 0;      ///< of the coarsest relief, cycles per radian
  std::uint16_t material = 0;
  std::uint32_t seed = 0;
};

/// What a ray met.
struct RayHit {
  enum class What : std::uint8_t { shape, backdrop, sky };
  What what = What::sky;
  float t = 0;
  const Shape* shape = nullptr;
  const Backdrop* backdrop = nullptr;
  int face = 0;
};

struct Sun {
  Float3 direction;  ///< towards it
  Rgb irradiance;
};

struct Scene {
  std::vector<Shape> shapes;
  std::vector<Material> materials;
  std::vector<Room> rooms;
  std::vector<Backdrop> backdrops;  ///< nearest first
  Sun sun;
  Bvh bvh;

  /// `stand` are the few shapes that belong to a shot: the pole that carries the body.
  [[nodiscard]] RayHit look(const Ray& ray, std::span<const Shape> stand) const;
  /// True when something stands between min_t and max_t.
  [[nodiscard]] bool blocked(const Ray& ray, std::span<const Shape> stand, float max_t) const;
  /// The room a point lies in; null outdoors.
  [[nodiscard]] const Room* room_at(const Float3& position) const;
};

}  // namespace seamwright::demo
