#include <array>
#include <numbers>

#include "apps/demo/caster/shading.h"
#include "base/parallel.h"

namespace seamwright::demo {
namespace {

constexpr int kGatherRays = 72;
constexpr int kWindowSteps = 3;  ///< a window is sampled at 3 × 3 points
constexpr std::span<const Shape> kNoStand;

constexpr std::array<Float3, 6> kFaces = {
    {{1, 0, 0}, {-1, 0, 0}, {0, 1, 0}, {0, -1, 0}, {0, 0, 1}, {0, 0, -1}}};

/// Evenly spread directions: a spherical Fibonacci lattice (González 2010).
std::array<Float3, kGatherRays> gather_directions() {
  std::array<Float3, kGatherRays> out;
  for (int i = 0; i < kGatherRays; ++i) {
    const double z = 1.0 - (2.0 * i + 1.0) / kGatherRays;
    const double around = i * std::numbers::pi * (3.0 - std::sqrt(5.0));
    const double r = std::sqrt(1.0 - z * z);
    out[static_cast<std::size_t>(i)] = {static_cast<float>(r * std::cos(around)),
                                        static_cast<float>(z),
                                        static_cast<float>(r * std::sin(around))};
  }
  return out;
}

/// Light that reaches a point straight from one sample of a light: direction and irradiance on a
/// surface square to it.
struct Arrival {
  Float3 direction;
  Rgb irradiance;
};

Arrival from_lamp(const Scene& scene, const Light& light, const Float3& position) {
  const Float3 to_light = light.position - position;
  const float distance = length(to_light);
  const Float3 direction = to_light * (1.0F / distance);
  if (scene.blocked({position, direction}, kNoStand, distance)) {
    return {};
  }
  return {direction, light.power * (1.0F / (distance * distance + 0.09F))};
}

Arrival from_window(const Scene& scene, const Light& light, const Float3& position, float a,
                    float b, float area_share) {
  const Float3 target = light.position + light.edge_u * a + light.edge_v * b + light.normal * 0.02F;
  const Float3 to_light = target - position;
  const float distance = length(to_light);
  const Float3 direction = to_light * (1.0F / distance);
  const float leaving = -dot(direction, light.normal);
  if (leaving <= 0.0F || scene.blocked({position, direction}, kNoStand, distance - 1e-3F)) {
    return {};
  }
  const float area = length(cross(light.edge_u, light.edge_v)) * area_share;
  return {direction, light.power * (leaving * area / (distance * distance + 0.3F * area))};
}

template <class Receive>
void direct_light(const Scene& scene, const Light& light, const Float3& position, int steps,
                  const Receive& receive) {
  if (light.radius_m > 0.0F) {
    receive(from_lamp(scene, light, position));
    return;
  }
  const auto n = static_cast<float>(steps);
  for (int i = 0; i < steps; ++i) {
    for (int j = 0; j < steps; ++j) {
      receive(from_window(scene, light, position, (static_cast<float>(i) + 0.5F) / n - 0.5F,
                          (static_cast<float>(j) + 0.5F) / n - 0.5F, 1.0F / (n * n)));
    }
  }
}

/// Light that a surface sends back, seen from inside the room; windows themselves count as lights.
Rgb reflected(const Scene& scene, const Ray& ray, bool& from_inside) {
  from_inside = false;
  const RayHit hit = scene.look(ray, kNoStand);
  if (hit.what != RayHit::What::shape) {
    return {};
  }
  const Float3 position = ray.origin + ray.direction * hit.t;
  FaceFrame frame = face_frame(*hit.shape, hit.face, position);
  if (dot(frame.normal, ray.direction) > 0.0F) {
    from_inside = hit.shape->kind != ShapeKind::quad;
    frame.normal = -frame.normal;
  }
  frame.point.footprint = 0.5F;
  const auto index = hit.shape->materials[static_cast<std::size_t>(hit.face)];
  const Surface surface = surface_at(scene.materials[index], frame.point);
  const Float3 lifted = position + frame.normal * 2e-3F;
  const Room* room = scene.room_at(lifted);
  if (room == nullptr) {
    return {};
  }
  Rgb irradiance = {0.24F, 0.225F, 0.2F};  // what has been around more than once
  for (const Light& light : room->lights) {
    direct_light(scene, light, lifted, 1, [&](const Arrival& a) {
      irradiance += a.irradiance * larger(0.0F, dot(a.direction, frame.normal));
    });
  }
  return surface.albedo * irradiance;
}

void add_arrival(LightGrid::Node& node, const Float3& direction, const Rgb& light) {
  for (std::size_t face = 0; face < kFaces.size(); ++face) {
    const float cosine = dot(direction, kFaces[face]);
    if (cosine > 0.0F) {
      node[face] += light * cosine;
    }
  }
}

void store_node(const Scene& scene, const Room& room, LightGrid& grid, int index) {
  static const auto directions = gather_directions();
  const Float3 position = grid.position(index);
  LightGrid::Node& node = grid.node(index);
  int inside = 0;
  for (const Float3& direction : directions) {
    bool from_inside = false;
    const Rgb light = reflected(scene, {position, direction}, from_inside);
    inside += from_inside ? 1 : 0;
    // Radiance × solid angle / π, the π folded into reflectance.
    add_arrival(node, direction, light * (4.0F / kGatherRays));
  }
  if (inside > kGatherRays / 4) {
    node = {};
    grid.set_solid(index);
    return;
  }
  for (std::size_t i = 0; i < room.lights.size(); ++i) {
    if (static_cast<int>(i) != room.key_light) {
      direct_light(scene, room.lights[i], position, kWindowSteps,
                   [&](const Arrival& a) { add_arrival(node, a.direction, a.irradiance); });
    }
  }
}

}  // namespace

void store_light(Scene& scene, float cell_m) {
  std::vector<LightGrid> grids;
  for (const Room& room : scene.rooms) {
    LightGrid grid(room.bounds, cell_m);
    parallel_for(0, grid.size(), [&](int i) { store_node(scene, room, grid, i); });
    grid.finish();
    grids.push_back(std::move(grid));
  }
  for (std::size_t i = 0; i < grids.size(); ++i) {
    scene.rooms[i].stored = std::move(grids[i]);
  }
}

}  // namespace seamwright::demo
