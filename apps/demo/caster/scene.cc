#include "apps/demo/caster/scene.h"

#include "apps/demo/caster/noise.h"

namespace seamwright::demo {
namespace {

constexpr float kNear = 2e-4F;
constexpr float kFar = 1e6F;
constexpr float kStandReach_m = 0.45F;
constexpr float kReveal_m = 0.16F;  // a room's light reaches half way into its doorways

/// Whether a ray passes near the pole of the stand at all.
bool near_stand(const Ray& ray, const Shape& pole) {
  const float ox = pole.centre.x - ray.origin.x;
  const float oz = pole.centre.z - ray.origin.z;
  const float flat2 = ray.direction.x * ray.direction.x + ray.direction.z * ray.direction.z;
  if (flat2 < 1e-9F) {
    return true;
  }
  const float off = ox * ray.direction.z - oz * ray.direction.x;
  return off * off < kStandReach_m * kStandReach_m * flat2;
}

bool crosses_backdrop(const Backdrop& b, const Ray& ray, float max_t, float& t) {
  const float a = ray.direction.x * ray.direction.x + ray.direction.z * ray.direction.z;
  if (a < 1e-6F) {
    return false;
  }
  const float half_b = ray.origin.x * ray.direction.x + ray.origin.z * ray.direction.z;
  const float c =
      ray.origin.x * ray.origin.x + ray.origin.z * ray.origin.z - b.radius_m * b.radius_m;
  t = (-half_b + std::sqrt(larger(0.0F, half_b * half_b - a * c))) / a;
  if (t >= max_t) {
    return false;
  }
  const Float3 p = ray.origin + ray.direction * t;
  const float height = -p.y;
  if (height > b.base_height_m + 1.4F * b.relief_m) {
    return false;
  }
  const float around = std::atan2(p.x, p.z) * b.frequency;
  const float crest =
      fractal_noise(around, 0.3F, {.frequency = 1.0F, .count = 9, .gain = 0.62F}, 0.0F, b.seed);
  return height < b.base_height_m + b.relief_m * crest;
}

}  // namespace

RayHit Scene::look(const Ray& ray, std::span<const Shape> stand) const {
  RayHit hit;
  Crossing crossing{.t = kFar, .face = 0};
  float max_t = kFar;
  const int found = bvh.nearest(shapes, ray, kNear, max_t, crossing);
  if (found >= 0) {
    max_t = crossing.t;
    hit = {RayHit::What::shape, crossing.t, &shapes[static_cast<std::size_t>(found)], nullptr,
           crossing.face};
  }
  if (!stand.empty() && near_stand(ray, stand.front())) {
    for (const Shape& shape : stand) {
      if (crosses(shape, ray, kNear, max_t, crossing)) {
        max_t = crossing.t;
        hit = {RayHit::What::shape, crossing.t, &shape, nullptr, crossing.face};
      }
    }
  }
  if (max_t > 100.0F) {
    for (const Backdrop& backdrop : backdrops) {
      float t = 0;
      if (crosses_backdrop(backdrop, ray, max_t, t)) {
        return {RayHit::What::backdrop, t, nullptr, &backdrop, 0};
      }
    }
  }
  return hit;
}

bool Scene::blocked(const Ray& ray, std::span<const Shape> stand, float max_t) const {
  if (bvh.any(shapes, ray, kNear, max_t)) {
    return true;
  }
  if (stand.empty() || !near_stand(ray, stand.front())) {
    return false;
  }
  Crossing ignored;
  for (const Shape& shape : stand) {
    if (shape.casts_shadow && crosses(shape, ray, kNear, max_t, ignored)) {
      return true;
    }
  }
  return false;
}

const Room* Scene::room_at(const Float3& p) const {
  for (const Room& room : rooms) {
    const Float3& a = room.bounds.low;
    const Float3& b = room.bounds.high;
    if (p.x >= a.x - kReveal_m && p.x <= b.x + kReveal_m && p.y >= a.y - kReveal_m &&
        p.y <= b.y + kReveal_m && p.z >= a.z - kReveal_m && p.z <= b.z + kReveal_m) {
      return &room;
    }
  }
  return nullptr;
}

}  // namespace seamwright::demo
