#include "apps/demo/film.h"

#include <cmath>

#include <catch2/catch.hpp>

#include "apps/demo/body.h"
#include "apps/demo/house/builder.h"

using namespace seamwright;
using namespace seamwright::demo;

namespace {

/// A large glowing sheet in a wide dark ball, its left border at x = `edge_m`, seen from
/// the origin at distance 2 m along z.
Scene sheet(float edge_m) {
  Scene scene;
  scene.sun = {{0, -1, 0}, {0, 0, 0}};
  Builder b(scene);
  const auto glow = b.material({.pattern = Pattern::glow, .base = {1, 1, 1}, .emission = 100});
  b.quad({edge_m, 400, 2}, {800, 0, 0}, {0, -800, 0}, glow);
  const auto dark =
      b.material({.pattern = Pattern::glow, .base = {0.01F, 0.01F, 0.01F}, .emission = 1});
  b.ellipsoid({0, 0, 0}, {2000, 2000, 2000}, dark);
  scene.bvh.build(scene.shapes);
  return scene;
}

/// Where a dark-to-bright edge lies between the middles of pixels `from` and `to` of a row: the
/// place that splits them into the same amount of light.
double edge_position(const Band& band, int row, float Rgb::*colour, int from, int to) {
  const auto at = [&](int x) {
    return static_cast<double>(band.pixels[static_cast<std::size_t>(row * band.width_px + x)].*
                               colour);
  };
  const double dark = at(from);
  const double bright = at(to);
  double share = 0;
  for (int x = from + 1; x < to; ++x) {
    share += (at(x) - dark) / (bright - dark);
  }
  return to - share;
}

/// Where the vertical line through `foot` (seen from the pupil) crosses the row v.
double true_edge(const MountedLens& mounted, const Vec3& foot, double v_px) {
  double low = -1;
  double high = 1;
  for (int i = 0; i < 60; ++i) {
    const double middle = 0.5 * (low + high);
    const auto px = mounted.project_direction({foot.x(), middle * foot.norm(), foot.z()});
    (px && px->y() < v_px ? low : high) = middle;
  }
  const auto px = mounted.project_direction({foot.x(), low * foot.norm(), foot.z()});
  return px ? px->x() : std::nan("");
}

}  // namespace

TEST_CASE("an edge falls in each colour where the fringe terms put it") {
  const auto rig = demo_body(8, 2000);
  REQUIRE(rig.has_value());
  const MountedLens& mounted = rig->lenses[0];
  const Lens& lens = mounted.lens;
  constexpr int kRows = 240;
  const int first_row = static_cast<int>(lens.centre_px().y()) - kRows / 2;
  for (const double theta_deg : {30.0, 60.0, 80.0, 86.0}) {
    CAPTURE(theta_deg);
    // The sheet's border, as the front pupil sees it off axis by θ.
    const double depth = 2.0 - mounted.pupil.z();
    const double x = mounted.pupil.x() + depth * std::tan(rad_from_deg(theta_deg));
    const Scene scene = sheet(static_cast<float>(x));
    const LensCamera camera(mounted, {}, 1);
    const Band band = expose_band(scene, {}, camera, &lens, first_row, first_row + kRows);
    double green_off = 0;
    double red_off = 0;
    double blue_off = 0;
    double mean_edge = 0;
    for (int row = 0; row < kRows; ++row) {
      const double edge =
          true_edge(mounted, {x - mounted.pupil.x(), 0, depth}, first_row + row + 0.5);
      const int from = static_cast<int>(edge) - 8;
      const double green = edge_position(band, row, &Rgb::y, from, from + 16);
      green_off += (green - edge) / kRows;
      red_off += (edge_position(band, row, &Rgb::x, from, from + 16) - green) / kRows;
      blue_off += (edge_position(band, row, &Rgb::z, from, from + 16) - green) / kRows;
      mean_edge += edge / kRows;
    }
    // Along an upright edge each half row has one half pixel that its random point puts on either
    // side: at most 0.25 px of noise, over 480 half rows 0.0114. Four times that.
    CHECK(green_off == Approx(0).margin(0.045));
    const double radius = mean_edge - lens.centre_px().x();
    const double r_hat = radius / lens.rim_radius_px();
    CHECK(red_off == Approx(radius * (lens.red.scale(r_hat) - 1)).margin(0.045));
    CHECK(blue_off == Approx(radius * (lens.blue.scale(r_hat) - 1)).margin(0.045));
    if (theta_deg > 75) {
      CHECK(red_off > 0.4);
      CHECK(blue_off < -0.4);
    }
  }
}

TEST_CASE("the green place of a colour undoes the fringe exactly") {
  const auto rig = demo_body(2, 2000, {.fringe_strength = 3});
  REQUIRE(rig.has_value());
  const Lens& lens = rig->lenses[1].lens;
  for (double r = 0; r < lens.rim_radius_px(); r += 13) {
    for (const FringeTerms& colour : {lens.red, lens.blue}) {
      const Vec2 green = lens.centre_px() + r * Vec2(0.6, -0.8);
      const Vec2 seen =
          lens.centre_px() + colour.scale(r / lens.rim_radius_px()) * (green - lens.centre_px());
      CHECK((green_position(lens, colour, seen) - green).norm() < 1e-9);
    }
  }
}

TEST_CASE("an even light comes out even, whatever the fringes") {
  Scene scene;
  Builder b(scene);
  const auto glow =
      b.material({.pattern = Pattern::glow, .base = {0.2F, 0.5F, 0.7F}, .emission = 2});
  b.ellipsoid({0, 0, 0}, {9, 9, 9}, glow);
  scene.sun.direction = {0, -1, 0};
  scene.bvh.build(scene.shapes);
  const auto rig = demo_body(1, 300);
  REQUIRE(rig.has_value());
  const MountedLens& mounted = rig->lenses[1];
  const LensCamera camera(mounted, {}, 1);
  const Band band = expose_band(scene, {}, camera, &mounted.lens, 100, 140);
  int even = 0;
  for (int y = 100; y < 140; ++y) {
    for (int x = 0; x < 300; ++x) {
      const double r = (Vec2(x + 0.5, y + 0.5) - mounted.lens.centre_px()).norm();
      if (r > mounted.lens.rim_radius_px() - 5) {
        continue;
      }
      const Rgb light = band.pixels[static_cast<std::size_t>((y - 100) * 300 + x)];
      // The material's glow plus 0.3 of its reflectance in the light outdoors, equal everywhere
      // but for the sphere's normal: compare with the glow alone from below.
      CHECK(light.x >= Approx(0.4).epsilon(1e-4));
      CHECK(light.z / light.x ==
            Approx(band.pixels[20 * 300 + 150].z / band.pixels[20 * 300 + 150].x).epsilon(0.25));
      ++even;
    }
  }
  CHECK(even > 5000);
}
