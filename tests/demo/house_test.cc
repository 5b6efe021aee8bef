#include <algorithm>
#include <set>

#include <catch2/catch.hpp>

#include "apps/demo/demo.h"

using namespace seamwright;

namespace {

/// Even directions over the sphere.
template <class Visit>
void each_direction(int rings, const Visit& visit) {
  for (int i = 0; i < rings; ++i) {
    const double polar = kPi * (i + 0.5) / rings;
    const int around = std::max(1, static_cast<int>(2 * rings * std::sin(polar)));
    for (int k = 0; k < around; ++k) {
      const double a = 2 * kPi * (k + 0.5) / around;
      visit(Vec3(std::sin(polar) * std::cos(a), std::cos(polar), std::sin(polar) * std::sin(a)));
    }
  }
}

}  // namespace

TEST_CASE("shots have names, rooms and small tilts") {
  std::set<std::string> names;
  std::set<std::string> rooms;
  int library = 0;
  for (const DemoShot& shot : demo_shots()) {
    names.insert(shot.name);
    rooms.insert(shot.room);
    library += shot.room == "library" ? 1 : 0;
    CHECK(shot.name.rfind(shot.room + "_", 0) == 0);
    CHECK(-shot.position.y() > 1.4 - 1e-9);
    CHECK(-shot.position.y() < 1.6 + 1e-9);
    // Up is tilted by at most 2°.
    const Vec3 up = shot.world_from_rig() * Vec3(0, -1, 0);
    CHECK(angle_between(up, Vec3(0, -1, 0)) < rad_from_deg(2));
    CHECK(angle_between(up, Vec3(0, -1, 0)) > rad_from_deg(0.1));
  }
  CHECK(names.size() == demo_shots().size());
  CHECK(rooms.size() == 5);
  CHECK(library == 6);
}

TEST_CASE("heading, pitch and roll turn the way they say") {
  const DemoShot east{.heading_deg = 90};
  CHECK((east.world_from_rig() * Vec3::UnitZ() - Vec3::UnitX()).norm() < 1e-12);
  const DemoShot up{.pitch_deg = 10};
  CHECK((up.world_from_rig() * Vec3::UnitZ()).y() < -0.1);
  const DemoShot rolled{.roll_deg = 10};
  // Clockwise for who looks forward: the right side goes down.
  CHECK((rolled.world_from_rig() * Vec3::UnitX()).y() > 0.1);
}

TEST_CASE("no stand is inside or too near anything, and everything is closed") {
  const DemoScene scene;
  for (const DemoShot& shot : demo_shots()) {
    double nearest = 1e9;
    int sky_below_horizon = 0;
    each_direction(90, [&](const Vec3& direction_in_world) {
      const Vec3 direction = shot.world_from_rig().conjugate() * direction_in_world;
      const double t = scene.distance_m(shot, Vec3::Zero(), direction);
      // The stick itself is right below.
      if (direction_in_world.y() < 0.9) {
        nearest = std::min(nearest, t);
      }
      sky_below_horizon += direction_in_world.y() > 0.01 && std::isinf(t) ? 1 : 0;
    });
    CAPTURE(shot.name, nearest);
    CHECK(nearest > 0.3);
    CHECK(sky_below_horizon == 0);
  }
}

TEST_CASE("in the library nothing visible is farther than 4 m") {
  const DemoScene scene;
  for (const DemoShot& shot : demo_shots()) {
    if (shot.room != "library") {
      continue;
    }
    double farthest = 0;
    for (const double z : {-0.0135, 0.0135}) {
      each_direction(180, [&](const Vec3& direction) {
        farthest = std::max(farthest, scene.distance_m(shot, {0, 0, z}, direction));
      });
    }
    CAPTURE(shot.name, farthest);
    CHECK(farthest < 4.0);
  }
}

TEST_CASE("in the courtyard most of the ring above the ground is far") {
  const DemoScene scene;
  for (const DemoShot& shot : demo_shots()) {
    if (shot.room != "courtyard") {
      continue;
    }
    int above = 0;
    int far = 0;
    int backdrop = 0;
    for (int i = 0; i < 360; ++i) {
      const double psi = rad_from_deg(i);
      for (double eta_deg = 84; eta_deg <= 96; eta_deg += 2) {
        const double eta = rad_from_deg(eta_deg);
        const Vec3 direction(std::sin(eta) * std::cos(psi), std::sin(eta) * std::sin(psi),
                             std::cos(eta));
        if ((shot.world_from_rig() * direction).y() > 0) {
          continue;
        }
        const double t = scene.distance_m(shot, Vec3::Zero(), direction);
        ++above;
        far += t >= 25 ? 1 : 0;
        backdrop += t >= 200 ? 1 : 0;
      }
    }
    REQUIRE(above > 1000);
    CHECK(far > 0.9 * above);
    CHECK(backdrop > 0.3 * above);
  }
}

TEST_CASE("rooms are furnished near the ring: something within 3 m, something within 1.5 m") {
  const DemoScene scene;
  for (const DemoShot& shot : demo_shots()) {
    if (shot.room == "courtyard") {
      continue;
    }
    int within_3 = 0;
    int within_15 = 0;
    for (int i = 0; i < 360; ++i) {
      const double psi = rad_from_deg(i);
      const double t = scene.distance_m(shot, Vec3::Zero(), {std::cos(psi), std::sin(psi), 0});
      within_3 += t < 3 ? 1 : 0;
      within_15 += t < 1.5 ? 1 : 0;
    }
    CAPTURE(shot.name);
    CHECK(within_3 > 180);
    CHECK(within_15 > 60);
  }
}
