// Ribbons: a rectified stereo pair on the sphere.

#include "projection/ribbon.h"

#include <algorithm>
#include <cmath>

#include <catch2/catch.hpp>

#include "tests/support/matchers.h"
#include "tests/support/random_geometry.h"
#include "tests/support/rigs.h"

namespace seamwright {

using test::near_pixel;
using test::nominal_rig;
using test::Random;
using test::random_direction;
using test::random_offset;
using test::random_rig;
using test::RigOptions;
using test::same_direction;
using test::seed;

namespace {

double wrapped_difference(double a, double b) { return std::remainder(a - b, 2 * kPi); }

}  // namespace

TEST_CASE("ribbon angles by hand", "[ribbon]") {
  const RibbonAxes axes(Vec3(0, 0, 2));
  CHECK_THAT(axes.pole(), same_direction({0, 0, 1}, 1e-15));
  const RibbonAngles right = axes.angles({1, 0, 0});
  CHECK(right.psi_rad == 0);
  CHECK(right.eta_rad == Approx(kPi / 2).epsilon(1e-15));
  const RibbonAngles down = axes.angles({0, 1, 0});
  CHECK(down.psi_rad == Approx(kPi / 2).epsilon(1e-15));
  CHECK(axes.angles({0, 0, 1}).eta_rad == 0);
  CHECK(axes.angles({0, 0, -1}).eta_rad == Approx(kPi).epsilon(1e-15));
  // A zero direction along the pole cannot be used; some other one is.
  const RibbonAxes degenerate(Vec3::UnitX(), Vec3::UnitX());
  CHECK(degenerate.ribbon_from_rig().isUnitary(1e-14));
}

TEST_CASE("ribbon axes are right-handed and orthonormal for any pole", "[ribbon]") {
  CAPTURE(seed());
  Random random(71);
  for (int i = 0; i < 2000; ++i) {
    const Vec3 pole = random.uniform(1e-3, 1e3) * random_direction(random);
    Vec3 zero = random_direction(random);
    // Now and then nearly along the pole.
    if (i % 4 == 0) zero = pole + pole.norm() * std::pow(10, random.uniform(-8, -1)) * zero;
    const RibbonAxes axes(pole, zero);
    REQUIRE(axes.ribbon_from_rig().isUnitary(1e-15));
    REQUIRE(axes.ribbon_from_rig().determinant() > 0);
    REQUIRE_THAT(axes.pole(), same_direction(pole, 1e-15));
  }
}

TEST_CASE("ribbon directions round trip", "[ribbon]") {
  CAPTURE(seed());
  Random random(72);
  double worst_rad = 0;
  for (int i = 0; i < 20000; ++i) {
    const RibbonAxes axes(random_direction(random), random_direction(random));
    const Vec3 direction = random_direction(random);
    const RibbonAngles at = axes.angles(3 * direction);
    REQUIRE(at.psi_rad > -kPi - 1e-15);
    REQUIRE(at.psi_rad <= kPi);
    worst_rad = std::max(worst_rad, angle_between(axes.direction(at), direction));
  }
  CHECK(worst_rad <= 1e-14);
}

TEST_CASE("parallax and sideways are the ribbon's own tangents", "[ribbon]") {
  CAPTURE(seed());
  Random random(73);
  constexpr double kStep = 1e-6;
  int cases = 0;
  for (int i = 0; i < 2000; ++i) {
    const RibbonAxes axes(random_direction(random), random_direction(random));
    const RibbonAngles at{random.uniform(-kPi, kPi), random.uniform(0.05, kPi - 0.05)};
    const Vec3 direction = axes.direction(at);
    const Vec3 parallax = axes.parallax(at);
    const Vec3 sideways = axes.sideways(at);
    REQUIRE(std::abs(parallax.norm() - 1) <= 1e-13);
    REQUIRE(std::abs(sideways.norm() - 1) <= 1e-13);
    REQUIRE(std::abs(parallax.dot(sideways)) <= 1e-13);
    REQUIRE(std::abs(parallax.dot(direction)) <= 1e-13);
    REQUIRE(std::abs(sideways.dot(direction)) <= 1e-13);
    const Vec3 by_eta = (axes.direction({at.psi_rad, at.eta_rad + kStep}) -
                         axes.direction({at.psi_rad, at.eta_rad - kStep})) /
                        (2 * kStep);
    const Vec3 by_psi = (axes.direction({at.psi_rad + kStep, at.eta_rad}) -
                         axes.direction({at.psi_rad - kStep, at.eta_rad})) /
                        (2 * kStep * std::sin(at.eta_rad));
    REQUIRE((by_eta - parallax).norm() <= 1e-8);
    REQUIRE((by_psi - sideways).norm() <= 1e-8);
    REQUIRE((axes.parallax(direction) - parallax).norm() <= 1e-13);
    const double by = random.uniform(-0.04, 0.04);
    REQUIRE((std::cos(by) * direction + std::sin(by) * axes.parallax(direction) -
             axes.direction({at.psi_rad, at.eta_rad + by}))
                .norm() <= 1e-13);
    ++cases;
  }
  CHECK(cases == 2000);
}

TEST_CASE("a point at any depth keeps its azimuth and moves only in colatitude", "[ribbon]") {
  CAPTURE(seed());
  Random random(74);
  int cases = 0;
  double worst_psi = 0;
  double worst_excess = 0;
  for (int i = 0; i < 5000; ++i) {
    // Pupils anywhere: the pole lies along their baseline, so it is exact, not first order.
    const Vec3 middle = random_offset(random, 0.01);
    const double h_m = random.uniform(0.005, 0.2);
    const RibbonAxes axes(random_direction(random));
    const Vec3 pupil_a = middle + h_m * axes.pole();
    const Vec3 pupil_b = middle - h_m * axes.pole();
    const Vec3 from_middle = random_direction(random);
    const double inverse_depth = random.uniform(0, 0.3) / h_m;
    const Vec3 scaled_point = from_middle + inverse_depth * middle;  // point × inverse depth
    const RibbonAngles at = axes.angles(from_middle);
    if (at.eta_rad < 0.1 || at.eta_rad > kPi - 0.1) continue;
    const RibbonAngles a = axes.angles(scaled_point - inverse_depth * pupil_a);
    const RibbonAngles b = axes.angles(scaled_point - inverse_depth * pupil_b);
    worst_psi = std::max({worst_psi, std::abs(wrapped_difference(a.psi_rad, at.psi_rad)),
                          std::abs(wrapped_difference(b.psi_rad, at.psi_rad))});
    const double disparity = a.eta_rad - b.eta_rad;
    REQUIRE(disparity >= 0);
    // η_a − η_b = 2hρ sin η + O((hρ)³): the even orders cancel from the midpoint. Exactly,
    // tan η_a,b = sin η / (cos η ∓ q) with q = hρ; the difference is 2q sin η + (2/3) q³ sin 3η +
    // …, whose tail is below q³ here.
    const double q = h_m * inverse_depth;
    const double exact = std::atan2(std::sin(at.eta_rad), std::cos(at.eta_rad) - q) -
                         std::atan2(std::sin(at.eta_rad), std::cos(at.eta_rad) + q);
    REQUIRE(disparity == Approx(exact).margin(1e-13));
    worst_excess =
        std::max(worst_excess, std::abs(disparity - 2 * q * std::sin(at.eta_rad)) - q * q * q);
    ++cases;
  }
  CHECK(cases > 4000);
  CHECK(worst_psi <= 1e-13);
  CHECK(worst_excess <= 1e-13);
}

TEST_CASE("both lenses of a body see a point under one azimuth", "[ribbon]") {
  CAPTURE(seed());
  Random random(75);
  int cases = 0;
  double worst_psi = 0;
  for (int i = 0; i < 100; ++i) {
    const Rig rig = random_rig(random, {});
    const RibbonAxes axes = RibbonAxes::of_pair(rig, 0, 1);
    CHECK_THAT(axes.pole(), same_direction(rig.lenses[0].pupil - rig.lenses[1].pupil, 1e-14));
    for (int j = 0; j < 200; ++j) {
      const double psi = random.uniform(-kPi, kPi);
      const Vec3 direction = axes.direction({psi, random.uniform(1.45, 1.7)});
      // Depths are from the rig's origin; the pupils are not on a line through it.
      const double inverse_depth = random.uniform(0.01, 3);
      const auto px_a = rig.lenses[0].project_point(direction, inverse_depth);
      const auto px_b = rig.lenses[1].project_point(direction, inverse_depth);
      if (!px_a || !px_b) continue;
      const auto ray_a = rig.lenses[0].direction_in_rig(*px_a);
      const auto ray_b = rig.lenses[1].direction_in_rig(*px_b);
      if (!ray_a || !ray_b) continue;
      const RibbonAngles a = axes.angles(*ray_a);
      const RibbonAngles b = axes.angles(*ray_b);
      worst_psi = std::max(worst_psi, std::abs(wrapped_difference(a.psi_rad, b.psi_rad)));
      REQUIRE(a.eta_rad > b.eta_rad);
      ++cases;
    }
  }
  CHECK(cases > 5000);
  CHECK(worst_psi <= 1e-12);
}

TEST_CASE("disparity on the ring of a 27 mm body", "[ribbon]") {
  // 2 atan(h / D) at η = 90°, pupils 27 mm apart; in degrees and in pixels of an 8192-wide
  // panorama (both computed outside of this program, to the digits given).
  struct Row {
    double distance_m, degrees, px;
  };
  const Rig rig = nominal_rig();
  const RibbonAxes axes = RibbonAxes::of_pair(rig, 0, 1);
  int cases = 0;
  for (const Row& row : {Row{0.6, 2.58, 58.7}, Row{3, 0.516, 11.7}, Row{30, 0.052, 1.2}}) {
    const Vec3 direction = axes.direction({0.7, kPi / 2});
    const auto eta = [&](const MountedLens& mounted) {
      const auto px = mounted.project_point(direction, 1 / row.distance_m);
      REQUIRE(px);
      return axes.angles(mounted.direction_in_rig(*px).value()).eta_rad;
    };
    const double disparity = eta(rig.lenses[0]) - eta(rig.lenses[1]);
    CHECK(disparity == Approx(2 * std::atan(0.0135 / row.distance_m)).epsilon(1e-12));
    CHECK(deg_from_rad(disparity) == Approx(row.degrees).epsilon(0.01));
    CHECK(disparity * 8192 / (2 * kPi) == Approx(row.px).margin(0.05));
    ++cases;
  }
  CHECK(cases == 3);
}

TEST_CASE("without a baseline the pole lies along the difference of the axes", "[ribbon]") {
  Rig rig = nominal_rig();
  for (MountedLens& mounted : rig.lenses) mounted.pupil.setZero();
  CHECK_THAT(RibbonAxes::of_pair(rig, 0, 1).pole(), same_direction({0, 0, 1}, 1e-14));
  CHECK_THAT(RibbonAxes::of_pair(rig, 1, 0).pole(), same_direction({0, 0, -1}, 1e-14));
}

TEST_CASE("two 200-degree lenses back to back overlap all around", "[ribbon]") {
  const Rig rig = nominal_rig();
  const auto overlap = overlap_of(rig, 0, 1);
  REQUIRE(overlap);
  const RibbonGrid& grid = overlap->grid;
  CHECK(grid.closed);
  CHECK(grid.width_px % 16 == 0);
  CHECK(grid.width_px == Approx(2 * kPi * grid.px_per_rad).epsilon(1e-12));
  CHECK(grid.px_per_rad == Approx(rig.peak_px_per_rad()).epsilon(8.0 / grid.width_px));
  // Colatitudes 80°…100°, to the quarter degree that the range is searched in.
  CHECK(deg_from_rad(grid.eta_begin_rad) == Approx(80).margin(0.25));
  CHECK(deg_from_rad(grid.eta_begin_rad + grid.height_px / grid.px_per_rad) ==
        Approx(100).margin(0.35));
  // A margin takes itself off on both sides.
  const auto inner = overlap_of(rig, 0, 1, 500, rad_from_deg(2));
  REQUIRE(inner);
  CHECK(inner->grid.closed);
  CHECK(deg_from_rad(inner->grid.eta_begin_rad) == Approx(82).margin(0.25));
  CHECK(inner->grid.px_per_rad == Approx(500).epsilon(8.0 / 3141));
}

TEST_CASE("neighbours in a ring of six overlap over a part of the turn", "[ribbon]") {
  RigOptions options;
  options.lens_count = 6;
  options.theta_max_rad = rad_from_deg(95);
  const Rig rig = nominal_rig(options);
  const auto neighbours = overlap_of(rig, 0, 1, 300);
  REQUIRE(neighbours);
  CHECK_FALSE(neighbours->grid.closed);
  CHECK(neighbours->grid.width_px < 2 * kPi * 300);
  // The bisector of the two axes is well inside.
  const Vec3 between =
      rig.lenses[0].rig_from_lens * Vec3::UnitZ() + rig.lenses[1].rig_from_lens * Vec3::UnitZ();
  const Vec2 at = neighbours->grid.position(between);
  CHECK(at.x() > 0.3 * neighbours->grid.width_px);
  CHECK(at.x() < 0.7 * neighbours->grid.width_px);
  CHECK(at.y() > 0.3 * neighbours->grid.height_px);
  CHECK(at.y() < 0.7 * neighbours->grid.height_px);
  // Opposite ones share a ring of 10°.
  const auto opposite = overlap_of(rig, 0, 3, 300);
  REQUIRE(opposite);
  CHECK(opposite->grid.closed);
  CHECK(opposite->grid.height_px == Approx(rad_from_deg(10) * 300).margin(3));
}

TEST_CASE("everything that both lenses see lies in their ribbon", "[ribbon]") {
  CAPTURE(seed());
  Random random(76);
  int cases = 0;
  for (int i = 0; i < 6; ++i) {
    RigOptions options;
    options.lens_count = i % 2 == 0 ? 2 : 6;
    const Rig rig = random_rig(random, options);
    const auto overlap = overlap_of(rig, 0, 1, 400);
    REQUIRE(overlap);
    const RibbonGrid& grid = overlap->grid;
    const double slack_px = 400 * rad_from_deg(0.5);  // of the search for the range
    for (int j = 0; j < 5000; ++j) {
      const Vec3 direction = random_direction(random);
      bool both = true;
      for (const std::size_t lens : {0U, 1U}) {
        const auto px = rig.lenses[lens].project_direction(direction);
        both = both && px && px->x() >= 0 && px->y() >= 0 && px->x() <= 2000 && px->y() <= 2000;
      }
      if (!both) continue;
      const Vec2 at = grid.position(direction);
      const bool inside_x =
          at.x() <= grid.width_px + slack_px || at.x() >= 2 * kPi * grid.px_per_rad - slack_px;
      CAPTURE(i, direction.transpose(), at.transpose());
      REQUIRE(inside_x);
      REQUIRE(at.y() >= -slack_px);
      REQUIRE(at.y() <= grid.height_px + slack_px);
      ++cases;
    }
  }
  CHECK(cases > 3000);
}

TEST_CASE("lenses that share no direction have no ribbon", "[ribbon]") {
  RigOptions options;
  options.theta_max_rad = rad_from_deg(80);
  CHECK_FALSE(overlap_of(nominal_rig(options), 0, 1));
  CHECK_FALSE(overlap_of(nominal_rig(), 0, 1, 0, rad_from_deg(11)));
}

TEST_CASE("ribbon grid positions round trip and wrap", "[ribbon]") {
  CAPTURE(seed());
  Random random(77);
  for (const int count : {2, 6}) {
    RigOptions options;
    options.lens_count = count;
    const auto overlap = overlap_of(random_rig(random, options), 0, 1, 350);
    REQUIRE(overlap);
    const RibbonGrid& grid = overlap->grid;
    double worst_px = 0;
    for (int i = 0; i < 5000; ++i) {
      const Vec2 px(random.uniform(0, grid.width_px), random.uniform(0, grid.height_px));
      worst_px = std::max(worst_px, (grid.position(grid.direction(px)) - px).norm());
    }
    CHECK(worst_px <= 1e-10);
    const double turn_px = 2 * kPi * grid.px_per_rad;
    CHECK_THAT(grid.position(grid.direction({turn_px + 5, 20})), near_pixel({5, 20}, 1e-9));
    CHECK_THAT(grid.position(grid.direction({-5, 20})), near_pixel({turn_px - 5, 20}, 1e-9));
    // Never a full turn: a hair left of the beginning is the end, or the beginning.
    for (const double hair : {1e-9, 1e-12, 1e-14, 1e-16, 1e-18}) {
      const double x = grid.position(grid.direction({-hair, 20})).x();
      CHECK(x >= 0);
      CHECK(x < turn_px);
    }
  }
  RibbonGrid grid{.axes = RibbonAxes(Vec3::UnitZ()), .psi_begin_rad = 0, .px_per_rad = 100};
  CHECK(grid.position({1, -1e-17, 0}).x() < 2 * kPi * 100);
  CHECK(grid.position({1, -1e-17, 0}).x() >= 0);
}

}  // namespace seamwright
