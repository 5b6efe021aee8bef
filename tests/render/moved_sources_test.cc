#include "compose/render/moved_sources.h"

#include <memory>

#include <catch2/catch.hpp>

#include "tests/support/rigs.h"

using namespace seamwright;
using seamwright::test::Random;

namespace {

// A few surfaces at depths of their own, in stripes.
void stand_in_stripes(Random& random, double most_rad, RunPlane& shifts) {
  for (std::size_t i = 0; i < shifts.size(); ++i) {
    const bool edge = i % 7 == 0;
    shifts[i] =
        edge ? static_cast<float>(random.uniform(-0.3 * most_rad, most_rad)) : shifts[i - 1];
  }
}

}  // namespace

TEST_CASE("Moved positions keep their bound, each at its own shift") {
  CAPTURE(test::seed());
  Random random(51);
  const Equirect raster{1000, 500};
  const DirectionAt direction_at = [raster](const Vec2& px) { return raster.direction(px); };
  auto shifts = std::make_unique<RunPlane>();
  auto sources = std::make_unique<SourceRun>();
  int cells = 0;
  double worst_px = 0;
  for (int body = 0; body < 4; ++body) {
    const Rig rig = test::random_rig(random, {.mount_spread_rad = rad_from_deg(60)});
    const RibbonAxes axes = RibbonAxes::of_pair(rig, 0, 1);
    const LensMap map(rig.lenses[0]);
    for (Cell cell; cell.y < raster.height; cell.y += Cell::kSize) {
      cell.height = std::min(Cell::kSize, raster.height - cell.y);
      for (cell.x = 0; cell.x < raster.width; cell.x += Cell::kSize) {
        cell.width = std::min(Cell::kSize, raster.width - cell.x);
        const Vec3 middle = raster.direction(cell.middle());
        const double room_rad = map.margin_rad(middle) - cell.reach_rad(raster);
        const double eta = axes.angles(middle).eta_rad;
        if (eta < 0.4 || eta > kPi - 0.4) continue;  // no ribbon
        stand_in_stripes(random, 0.03, *shifts);
        if (!fill_moved_sources(map, direction_at, cell, {axes, *shifts}, room_rad, *sources))
          continue;
        ++cells;
        for (int row = 0; row < cell.height; ++row) {
          for (int column = 0; column < cell.width; ++column) {
            const std::size_t i = Cell::index(column, row);
            RibbonAngles at =
                axes.angles(raster.direction({cell.x + column + 0.5, cell.y + row + 0.5}));
            at.eta_rad += static_cast<double>((*shifts)[i]);
            const auto exact = map.source_px(axes.direction(at));
            REQUIRE(exact);
            worst_px = std::max(worst_px, (sources->at(i) - *exact).norm());
          }
        }
      }
    }
  }
  CAPTURE(worst_px);
  CHECK(cells > 200);
  CHECK(worst_px <= kSourceBound_px);
  CHECK(worst_px > 0);
}

TEST_CASE("A cell that one shift leads out of the field is left to exact positions") {
  const Rig rig = test::nominal_rig();
  const RibbonAxes axes = RibbonAxes::of_pair(rig, 0, 1);
  const LensMap map(rig.lenses[0]);
  const Equirect raster{1000, 500};
  const DirectionAt direction_at = [raster](const Vec2& px) { return raster.direction(px); };
  const Cell cell{.x = 500, .y = 250};
  auto shifts = std::make_unique<RunPlane>();
  auto sources = std::make_unique<SourceRun>();
  shifts->fill(0.01F);
  CHECK(fill_moved_sources(map, direction_at, cell, {axes, *shifts}, 0.02, *sources));
  (*shifts)[400] = -0.021F;
  CHECK_FALSE(fill_moved_sources(map, direction_at, cell, {axes, *shifts}, 0.02, *sources));
}
