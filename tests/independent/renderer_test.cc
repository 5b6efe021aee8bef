// What POV-Ray's cameras and files do, measured and not believed.

#include <cmath>

#include <catch2/catch.hpp>

#include "body.h"
#include "outside_program.h"
#include "ruler.h"

using namespace independent;

namespace {

Picture render(const char* name) {
  return read_exr(setting("INDEPENDENT_RENDERS") + "/" + name + ".exr");
}

// The middle of the light within a few pixels.
Vector2d centroid(const Picture& picture, const Vector2d& near_px) {
  constexpr int kReach = 18;
  Vector2d sum = Vector2d::Zero();
  double weights = 0;
  const auto column = static_cast<int>(near_px.x());
  const auto row = static_cast<int>(near_px.y());
  for (int y = row - kReach; y <= row + kReach; ++y) {
    for (int x = column - kReach; x <= column + kReach; ++x) {
      if (x < 0 || y < 0 || x >= picture.width || y >= picture.height) continue;
      const double w = picture.at(x, y, 1);
      sum += w * Vector2d(x + 0.5, y + 0.5);
      weights += w;
    }
  }
  return weights > 0 ? (sum / weights).eval() : Vector2d(-1e9, -1e9);
}

struct Mark {
  double off_deg;
  Vector3d direction;  // x right, y down, z ahead
};

// As marks.pov puts them: POV-Ray's y points up, its turns are left-handed.
std::vector<Mark> marks() {
  std::vector<Mark> all;
  for (double off = 15; off < 100; off += 16.5) {
    for (int k = 0; k < 8; ++k) {
      const double turn = (11 + 45 * k) * kDegree;
      const Vector3d up(std::sin(off * kDegree) * std::cos(turn),
                        std::sin(off * kDegree) * std::sin(turn), std::cos(off * kDegree));
      all.push_back({off, Vector3d(up.x(), -up.y(), up.z())});
    }
  }
  return all;
}

}  // namespace

TEST_CASE("the renderer's fisheye is equidistant and its panorama equirectangular") {
  const Picture fisheye = render("marks_fisheye");
  const Picture panorama = render("marks_panorama");
  int seen = 0;
  double worst_fisheye = 0;
  double worst_panorama = 0;
  for (const Mark& mark : marks()) {
    const Vector3d& d = mark.direction;
    const double across = std::hypot(d.x(), d.y());
    const double radius = mark.off_deg / (0.5 * kFisheyeField_deg) * 0.5 * fisheye.width;
    const Vector2d due = Vector2d(0.5 * fisheye.width, 0.5 * fisheye.height) +
                         radius / across * Vector2d(d.x(), d.y());
    worst_fisheye = std::max(worst_fisheye, (centroid(fisheye, due) - due).norm());
    const double pi = 180 * kDegree;
    const Vector2d there(panorama.width * (std::atan2(d.x(), d.z()) / (2 * pi) + 0.5),
                         panorama.height * (std::asin(d.y()) / pi + 0.5));
    worst_panorama = std::max(worst_panorama, (centroid(panorama, there) - there).norm());
    ++seen;
  }
  CHECK(seen == 48);
  // One sample a pixel: a mark of some 10 px fixes its middle to a tenth.
  WARN("marks lie within " << worst_fisheye << " px (fisheye), " << worst_panorama << " px");
  CHECK(worst_fisheye < 0.15);
  CHECK(worst_panorama < 0.3);
}

TEST_CASE("the renderer's files hold linear light, brighter than white too, and distances") {
  const Picture panorama = render("marks_panorama");
  const int top = 12;
  for (const int x : {10, 1000, 2500}) {
    // Half floats: 11 bits.
    CHECK(panorama.at(x, top, 0) == Approx(0.02).epsilon(1e-3));
    CHECK(panorama.at(x, top, 1) == Approx(0.18).epsilon(1e-3));
    CHECK(panorama.at(x, top, 2) == Approx(9.0).epsilon(1e-3));
  }
  const Picture depth = depth_of(render("marks_depth"));
  CHECK(depth.at(700, 0, 0) == Approx(2.0).epsilon(2e-3));
}
