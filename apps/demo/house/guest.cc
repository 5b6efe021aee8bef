#include "apps/demo/house/guest.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace seamwright::demo {
namespace {

constexpr float kStride_m = 0.08F;  // from the middle to each lens' moment
constexpr float kNearest_m = 1.0F;  // of the guest's middle to the body
constexpr float kFarthest_m = 2.1F;
constexpr float kElbowRoom_m = 0.4F;

// Free way from the body at a height below it, level, towards a direction of the compass.
float free_way(const Scene& scene, const Float3& body, float below, float heading_rad) {
  const Ray ray{body + Float3{0, below, 0}, {std::sin(heading_rad), 0, std::cos(heading_rad)}};
  const RayHit hit = scene.look(ray, {});
  return hit.what == RayHit::What::shape ? hit.t : kFarthest_m + kElbowRoom_m;
}

float room_beside(const Scene& scene, const Float3& body, float heading_rad) {
  float least = kFarthest_m + kElbowRoom_m;
  for (const float below : {0.2F, 0.7F, 1.2F}) {
    for (const float aside : {-0.35F, 0.0F, 0.35F}) {
      least = std::min(least, free_way(scene, body, below, heading_rad + aside));
    }
  }
  return std::clamp(least - kElbowRoom_m, kNearest_m, kFarthest_m);
}

void leg(Builder& b, const Palette& p, float side, float step) {
  b.cylinder({side, 0.9F, 0}, {side, 0.48F, 0.35F * step}, 0.075F, p.grey_cloth);
  b.cylinder({side, 0.5F, 0.35F * step}, {side, 0.08F, step}, 0.06F, p.grey_cloth);
  b.ellipsoid({side, 0.05F, step + 0.05F}, {0.05F, 0.05F, 0.13F}, p.dark_wood);
}

void arm(Builder& b, const Palette& p, float side, float swing) {
  const float hand = 1.3F * side;
  b.cylinder({side, 1.4F, 0}, {1.2F * side, 1.12F, 0.4F * swing}, 0.05F, p.wine_cloth);
  b.cylinder({1.2F * side, 1.12F, 0.4F * swing}, {hand, 0.86F, swing}, 0.042F, p.wine_cloth);
  b.ellipsoid({hand, 0.8F, swing}, {0.035F, 0.07F, 0.045F}, p.bread);
}

}  // namespace

std::vector<Shape> guest_at(const Palette& p, const Place& feet) {
  Scene lone;
  Builder b(lone);
  b.enter(feet);
  leg(b, p, -0.09F, 0.11F);
  leg(b, p, 0.09F, -0.13F);
  b.ellipsoid({0, 1.0F, 0}, {0.17F, 0.17F, 0.17F}, p.wine_cloth);
  b.ellipsoid({0, 1.24F, 0}, {0.19F, 0.29F, 0.15F}, p.wine_cloth);
  arm(b, p, -0.21F, -0.13F);
  arm(b, p, 0.21F, 0.13F);
  b.cylinder({0, 1.45F, 0}, {0, 1.56F, 0.01F}, 0.05F, p.bread);
  b.cylinder({0, 1.44F, 0}, {0, 1.51F, 0}, 0.085F, p.ochre_cloth);
  b.ellipsoid({0, 1.64F, 0.02F}, {0.078F, 0.11F, 0.095F}, p.bread);
  b.ellipsoid({0, 1.68F, -0.01F}, {0.086F, 0.09F, 0.1F}, p.dark_wood);
  return lone.shapes;
}

std::vector<Shape> passing_guest(const Scene& scene, const Palette& p, const Walk& walk) {
  const float right_rad = walk.heading_rad + 0.5F * std::numbers::pi_v<float>;
  const float left_rad = walk.heading_rad - 0.5F * std::numbers::pi_v<float>;
  const float room_right = room_beside(scene, walk.body, right_rad);
  const float room_left = room_beside(scene, walk.body, left_rad);
  const bool right = room_right >= room_left;
  const float side_rad = right ? right_rad : left_rad;
  const float away = right ? room_right : room_left;
  const float ahead = walk.first_lens ? kStride_m : -kStride_m;
  const Float3 to_side = {std::sin(side_rad), 0, std::cos(side_rad)};
  const Float3 forward = {std::sin(walk.heading_rad), 0, std::cos(walk.heading_rad)};
  const Float3 at = walk.body + away * to_side + ahead * forward;
  // He walks the way lens 0 does not look.
  const float heading_deg = 180 + walk.heading_rad * 180 / std::numbers::pi_v<float>;
  return guest_at(p, {at.x, walk.floor_height, at.z, heading_deg});
}

}  // namespace seamwright::demo
