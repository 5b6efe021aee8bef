#include "compose/render/source_grid.h"

#include <catch2/catch.hpp>

#include "tests/support/rigs.h"

using namespace seamwright;
using seamwright::test::Random;

namespace {

struct GridError {
  int cells = 0;
  double worst_px = 0;
};

// Largest distance of interpolated from exact positions over the cells that a lens sees whole.
GridError grid_error(const MountedLens& mounted, const Equirect& raster, int every_nth_cell) {
  const LensMap map(mounted);
  GridError error;
  int counter = 0;
  for (Cell cell; cell.y < raster.height; cell.y += Cell::kSize) {
    cell.height = std::min(Cell::kSize, raster.height - cell.y);
    for (cell.x = 0; cell.x < raster.width; cell.x += Cell::kSize) {
      cell.width = std::min(Cell::kSize, raster.width - cell.x);
      if (counter++ % every_nth_cell != 0) continue;
      if (map.margin_rad(raster.direction(cell.middle())) <= cell.reach_rad(raster)) continue;
      SourceRun sources;
      fill_sources(map, raster, cell, sources);
      ++error.cells;
      for (int row = 0; row < cell.height; ++row) {
        for (int column = 0; column < cell.width; ++column) {
          const auto exact = mounted.project_direction(
              raster.direction({cell.x + column + 0.5, cell.y + row + 0.5}));
          if (!exact) FAIL("a lens does not see a cell inside its margin");
          error.worst_px =
              std::max(error.worst_px, (sources.at(Cell::index(column, row)) - *exact).norm());
        }
      }
    }
  }
  return error;
}

}  // namespace

TEST_CASE("Interpolated source positions keep their bound for every curve and panorama size") {
  CAPTURE(test::seed());
  Random random(11);
  double worst_px = 0;
  int cells = 0;
  for (int curve = 0; curve < kLensCurveCount; ++curve) {
    for (const int width : {128, 500, 1024, 4096}) {
      const Rig rig = test::random_rig(
          random, {.curve = static_cast<LensCurve>(curve), .mount_spread_rad = rad_from_deg(60)});
      for (const MountedLens& mounted : rig.lenses) {
        const GridError error =
            grid_error(mounted, Equirect{width, width / 2}, width > 2000 ? 23 : 1);
        worst_px = std::max(worst_px, error.worst_px);
        cells += error.cells;
      }
    }
  }
  INFO("worst " << worst_px << " px over " << cells << " cells");
  CHECK(cells > 3000);
  CHECK(worst_px <= kSourceBound_px);
  CHECK(worst_px > 0);  // something was interpolated at all
}

TEST_CASE("A lens that looks at the zenith or the horizon's seam keeps the bound at the poles") {
  Rig rig = test::nominal_rig();
  for (const Vec3& axis : {Vec3(0, -1, 0), Vec3(0, 1, 0), Vec3(0, 0, -1)}) {
    MountedLens mounted = rig.lenses[0];
    mounted.rig_from_lens = Quat::FromTwoVectors(Vec3::UnitZ(), axis);
    const GridError error = grid_error(mounted, Equirect{1000, 500}, 1);
    CHECK(error.cells > 200);
    CHECK(error.worst_px <= kSourceBound_px);
  }
}

TEST_CASE("Margins change by no more than the angle moved") {
  CAPTURE(test::seed());
  Random random(12);
  test::RigOptions options{.lens_count = 4, .theta_max_rad = rad_from_deg(110)};
  int compared = 0;
  for (int body = 0; body < 6; ++body) {
    Rig rig = test::random_rig(random, options);
    // A frame that crops the circle: margins end at the border.
    if (body % 2 == 1) {
      for (MountedLens& mounted : rig.lenses) mounted.lens.terms[kFocal] *= 1.4;
    }
    for (const MountedLens& mounted : rig.lenses) {
      const LensMap map(mounted);
      for (int i = 0; i < 2000; ++i) {
        const Vec3 a = test::random_direction(random);
        const Vec3 b = quat_from_rotation_vector(test::random_offset(random, 0.02)) * a;
        const double before = map.margin_rad(a);
        const double after = map.margin_rad(b);
        if (before < 0 && after < 0) continue;
        const double excess = std::abs(before - after) - angle_between(a, b);
        if (excess > 1e-12) FAIL("margin " << before << " to " << after << ", excess " << excess);
        ++compared;
      }
    }
  }
  CHECK(compared > 10000);
}

TEST_CASE("Fringe terms move a colour along the radius from the principal point") {
  Rig rig = test::nominal_rig();
  MountedLens mounted = rig.lenses[0];
  mounted.lens.red = {.a0 = 0.001, .a1 = 0.002, .a2 = -0.0005};
  const LensMap map(mounted);
  const Vec2 centre = mounted.lens.centre_px();
  const double rim = mounted.lens.rim_radius_px();
  // By hand at half the rim's radius: 1 + 0.001 + 0.002/4 − 0.0005/16.
  const Vec2 green = centre + Vec2(0.3, 0.4) * rim;
  const Vec2 red = map.colour_px(green, 0);
  CHECK((red - (centre + 1.00146875 * (green - centre))).norm() < 1e-9);
  CHECK(map.colour_px(green, 1) == green);
  CHECK((map.colour_px(green, 2) - green).norm() < 1e-12);
}
