// The rulers themselves, on the room's own panorama with faults of known size.

#include "ruler.h"

#include <cmath>

#include <Eigen/Geometry>
#include <catch2/catch.hpp>

#include "outside_program.h"
#include "sphere.h"

using namespace independent;

namespace {

// The room from the middle, taken as infinitely far: nothing in it has a parallax.
Room far_room() {
  Room room{read_exr(setting("INDEPENDENT_RENDERS") + "/stand1_ideal.exr"), Picture(64, 32)};
  room.depth_m.samples.assign(room.depth_m.samples.size(), 1e6F);
  return room;
}

// The room as a panorama of 1600 px, by direction.
template <class Source>
Picture panorama(const Room& room, const Source& source) {
  Picture picture(1600, 800);
  const Sphere sphere(room.light);
  for (int y = 0; y < picture.height; ++y) {
    for (int x = 0; x < picture.width; ++x) {
      const double around = 2 * kPi * ((x + 0.5) / picture.width - 0.5);
      const double down = kPi * ((y + 0.5) / picture.height - 0.5);
      const Vector3d v(std::cos(down) * std::sin(around), std::sin(down),
                       std::cos(down) * std::cos(around));
      const auto [from, factor] = source(v);
      for (int c = 0; c < 3; ++c) {
        picture.at(x, y, c) = static_cast<float>(factor * sphere.at(from, c));
      }
    }
  }
  return picture;
}

}  // namespace

TEST_CASE("the rulers find a tilt, a broken stretch of seam and a step of light") {
  const Room room = far_room();
  const Stand& stand = kStands[0];
  const Matrix3d body_from_upright = stand.upright_from_body().transpose();
  const Matrix3d untilted = turn_of({0.3, 0, 0}).transpose();
  const Vector3d none = Vector3d::Zero();

  const Picture true_to_life = panorama(room, [](const Vector3d& v) { return std::pair(v, 1.0); });
  CHECK(placing(true_to_life, room, stand).tilt_deg < 0.01);
  CHECK(seam_patches(true_to_life, room, stand, none).blemished == 0);
  CHECK(zone_light(true_to_life, room, stand, none, 0.8).most < 0.012);  // 0.008: hard edges

  const Placing tilted = placing(
      panorama(room, [&](const Vector3d& v) { return std::pair((untilted * v).eval(), 1.0); }),
      room, stand);
  CHECK(tilted.tilt_deg == Approx(0.3).margin(0.01));
  CHECK(tilted.turn_deg.x() == Approx(0.3).margin(0.01));

  // A twentieth of the ring, at its left, shows what lies 3 degrees further around it, beyond what
  // is forgiven.
  const Picture broken = panorama(room, [&](const Vector3d& v) {
    const Vector3d in_body = body_from_upright * v;
    const double psi = std::atan2(in_body.y(), in_body.x());
    const bool here = std::abs(std::remainder(psi - kPi, 2 * kPi)) < kPi / 20;
    const Vector3d from = turn_of({0, 0, here ? 3.0 : 0.0}) * in_body;
    return std::pair((stand.upright_from_body() * from).eval(), 1.0);
  });
  const SeamPatches seam = seam_patches(broken, room, stand, none);
  CHECK(seam.broken > 0.03);
  CHECK(seam.broken < 0.15);

  // The back lens a twentieth brighter: one factor leaves a fortieth at both, or all at one.
  const Picture stepped = panorama(room, [&](const Vector3d& v) {
    return std::pair(v, (body_from_upright * v).z() < 0 ? 1.05 : 1.0);
  });
  const ZoneLight light = zone_light(stepped, room, stand, none, 0.8);
  CHECK(light.most > 0.024);
  CHECK(light.most < 0.055);
}
