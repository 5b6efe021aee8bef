#include "apps/demo/house/house.h"

#include <numbers>

namespace seamwright::demo {

Bounds air(float x0, float z0, float x1, float z1, float height) {
  return {{x0, -height, z0}, {x1, 0, z1}};
}

Light window_light(const Builder& b, const Place& middle, float width, float height,
                   const Rgb& radiance) {
  const float heading = middle.heading_deg * std::numbers::pi_v<float> / 180.0F;
  const Float3 out = {std::sin(heading), 0, std::cos(heading)};
  Light light;
  light.position = b.to_world({middle.x, middle.height, middle.z});
  light.normal = out;
  light.edge_u = Float3{out.z, 0, -out.x} * width;
  light.edge_v = {0, height, 0};
  light.power = radiance * std::numbers::inv_pi_v<float>;
  return light;
}

Light lamp_light(const Float3& position, const Rgb& at_1_m) {
  Light light;
  light.position = position;
  light.radius_m = 0.075F;
  light.power = at_1_m;
  return light;
}

House build_house() {
  House house;
  Scene& scene = house.scene;
  scene.sun = {normalized({0.42F, -0.72F, -0.55F}), {8.5F, 7.9F, 6.8F}};
  Builder b(scene);
  house.palette = make_palette(b);
  const Palette& p = house.palette;
  build_hall(b, p);
  build_breakfast_room(b, p);
  build_library(b, p);
  build_bedroom(b, p);
  build_courtyard(b, p);
  scene.bvh.build(scene.shapes);
  return house;
}

std::vector<Shape> stand_under(const Palette& p, const Float3& body, float floor_height) {
  Scene lone;
  Builder b(lone);
  b.enter({body.x, floor_height, body.z});
  const float top = -body.y - floor_height - 0.17F;
  b.cylinder({0, 0.06F, 0}, {0, top, 0}, 0.011F, p.iron);
  b.cylinder({0, top - 0.05F, 0}, {0, top, 0}, 0.014F, p.brass, p.iron);
  b.cylinder({0, 0.24F, 0}, {0, 0.34F, 0}, 0.024F, p.brass);
  constexpr float kCos[] = {1.0F, -0.5F, -0.5F};
  constexpr float kSin[] = {0.0F, 0.8660254F, -0.8660254F};
  for (int leg = 0; leg < 3; ++leg) {
    const Float3 foot = {0.26F * kCos[leg], 0.012F, 0.26F * kSin[leg]};
    b.cylinder({0, 0.3F, 0}, foot, 0.009F, p.iron);
    b.ellipsoid(foot, {0.017F, 0.012F, 0.017F}, p.dark_wood);
  }
  return lone.shapes;
}

Shape ball_at(const Palette& p, const Float3& centre) {
  Scene lone;
  Builder b(lone);
  constexpr float kRadius_m = 0.15F;
  b.ellipsoid({centre.x, -centre.y, centre.z}, {kRadius_m, kRadius_m, kRadius_m}, p.brass);
  return lone.shapes.front();
}

}  // namespace seamwright::demo
