#include "sampling/cell_sources.h"

#include <catch2/catch.hpp>

#include "tests/support/rigs.h"

using namespace seamwright;
using seamwright::test::Random;

namespace {

struct GridError {
  int cells = 0;
  double worst_px = 0;
};

DirectionAt directions_of(const Equirect& raster) {
  return [raster](const Vec2& px) { return raster.direction(px); };
}

// Largest distance of interpolated from exact positions over the cells that a lens sees whole.
GridError grid_error(const MountedLens& mounted, const Equirect& raster, int every_nth_cell) {
  const LensMap map(mounted);
  const DirectionAt direction_at = directions_of(raster);
  GridError error;
  const CellTiling tiling{raster.width, raster.height};
  for (int at = 0; at < tiling.count(); at += every_nth_cell) {
    const Cell cell = tiling.at(at);
    if (map.margin_rad(raster.direction(cell.middle())) <= cell.reach_rad(raster)) continue;
    SourceRun sources;
    fill_sources(map, direction_at, cell, sources);
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

TEST_CASE("Where a lens' field or its frame ends, cells end to the pixel") {
  CAPTURE(test::seed());
  Random random(13);
  const Equirect raster{700, 350};
  const DirectionAt direction_at = directions_of(raster);
  const CellTiling tiling{raster.width, raster.height};
  int border_cells = 0;
  int unlike = 0;
  double worst_px = 0;
  for (int body = 0; body < 4; ++body) {
    Rig rig = test::random_rig(random);
    // A frame that crops the circle: the picture ends at the border.
    if (body % 2 == 1) rig.lenses[0].lens.terms[kFocal] *= 1.4;
    const LensMap map(rig.lenses[0]);
    for (int at = 0; at < tiling.count(); ++at) {
      const Cell cell = tiling.at(at);
      SourceRun sources;
      fill_sources(map, direction_at, cell, sources);
      int seen = 0;
      for (int row = 0; row < cell.height; ++row) {
        for (int column = 0; column < cell.width; ++column) {
          const Vec2 found = sources.at(Cell::index(column, row));
          const auto exact =
              map.source_px(raster.direction({cell.x + column + 0.5, cell.y + row + 0.5}));
          unlike += exact.has_value() == found.hasNaN() ? 1 : 0;
          if (!exact || found.hasNaN()) continue;
          ++seen;
          worst_px = std::max(worst_px, (found - *exact).norm());
        }
      }
      border_cells += seen > 0 && seen < cell.width * cell.height ? 1 : 0;
    }
  }
  CAPTURE(unlike, border_cells);
  CHECK(border_cells > 100);
  CHECK(unlike == 0);
  CHECK(worst_px <= kSourceBound_px);
}
