#include "compose/render/ribbon_sources.h"

#include <catch2/catch.hpp>

#include "compose/render/source_grid.h"
#include "projection/ribbon.h"
#include "tests/support/rigs.h"

using namespace seamwright;
using seamwright::test::Random;

namespace {

struct Misses {
  int seen = 0;
  int unlike = 0;  // one finds a place and the other none
  double worst_px = 0;
};

// Interpolated against exact positions, shifted by up to a little more than the reach.
Misses misses_of(const MountedLens& mounted, const RibbonGrid& grid, double reach_rad,
                 Random& random) {
  const LensMap map(mounted);
  const RibbonSources sources(map, grid, reach_rad);
  Misses misses;
  for (int i = 0; i < 4000; ++i) {
    const int x = static_cast<int>(random.uniform(0, grid.width_px - 1e-9));
    const double eta = random.uniform(grid.eta_begin_rad - 1.1 * reach_rad,
                                      eta_of_row(grid, grid.height_px) + 1.1 * reach_rad);
    const double psi = grid.psi_begin_rad + (x + 0.5) / grid.px_per_rad;
    const auto exact = map.source_px(grid.axes.direction({psi, eta}));
    const auto found = sources.at(x, eta);
    if (found.has_value() != exact.has_value()) {
      ++misses.unlike;
    } else if (exact) {
      ++misses.seen;
      misses.worst_px = std::max(misses.worst_px, (*found - *exact).norm());
    }
  }
  return misses;
}

}  // namespace

TEST_CASE("a ribbon's source positions keep their bound for every curve") {
  CAPTURE(test::seed());
  Random random(41);
  constexpr double kReach_rad = rad_from_deg(6);
  int seen = 0;
  for (int curve = 0; curve < kLensCurveCount; ++curve) {
    for (const double coarser : {1.0, 3.0}) {
      CAPTURE(curve, coarser);
      const Rig rig = test::random_rig(random, {.curve = static_cast<LensCurve>(curve)});
      const double scale = rig.lenses[0].lens.terms[kFocal] / coarser;
      const auto overlap = overlap_of(rig, 0, 1, scale, rad_from_deg(0.5));
      if (!overlap) continue;
      for (const MountedLens& mounted : rig.lenses) {
        const Misses misses = misses_of(mounted, overlap->grid, kReach_rad, random);
        CHECK(misses.worst_px < kSourceBound_px);
        CHECK(misses.unlike == 0);
        seen += misses.seen;
      }
    }
  }
  CHECK(seen > 10000);
}

TEST_CASE("beyond its reach and the field a ribbon's sources ask the lens") {
  CAPTURE(test::seed());
  const Rig rig = test::random_rig(42);
  const auto overlap = overlap_of(rig, 0, 1, 200);
  REQUIRE(overlap);
  const LensMap map(rig.lenses[0]);
  const RibbonSources sources(map, overlap->grid, 0.01);
  CHECK(sources.step_px() > 1);
  const double pole = 0.3;  // far from the ring, in the middle of lens 0's picture
  const Vec3 there = overlap->grid.axes.direction(
      {overlap->grid.psi_begin_rad + 7.5 / overlap->grid.px_per_rad, pole});
  const auto exact = map.source_px(there);
  REQUIRE(exact);
  CHECK((sources.at(7, pole).value() - *exact).norm() < 1e-9);
  CHECK_FALSE(sources.at(7, kPi - 0.1));  // behind the lens
}
