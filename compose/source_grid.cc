#include "compose/source_grid.h"

#include <cassert>
#include <cmath>
#include <limits>

#include "compose/cell_fill.h"

namespace seamwright {

void fill_sources(const LensMap& map, const Equirect& raster, const Cell& cell,
                  SourceRun& sources) {
  const auto exact = [&](const Vec2& panorama_px) -> Vec2 {
    const auto px = map.source_px(raster.direction(panorama_px));
    assert(px && "the cell must lie inside the lens' field");
    return px.value_or(Vec2::Constant(std::numeric_limits<double>::quiet_NaN()));
  };
  const Vec2 anchor = exact(cell.middle()).array().floor();
  sources.anchor_x = static_cast<int>(anchor.x());
  sources.anchor_y = static_cast<int>(anchor.y());
  sources.count = static_cast<std::size_t>(cell.height * Cell::kSize);
  if (cell.width < Cell::kSize) {
    sources.x.fill(0);
    sources.y.fill(0);
  }
  CellFill<2, decltype(exact)>(cell, kSourceBound_px, exact, anchor,
                               {sources.x.data(), sources.y.data()})
      .fill();
}

void fill_margins(const LensMap& map, const Equirect& raster, const Cell& cell, RunPlane& margins) {
  using Margin = Eigen::Matrix<double, 1, 1>;
  const auto exact = [&](const Vec2& panorama_px) {
    return Margin(map.margin_rad(raster.direction(panorama_px)));
  };
  CellFill<1, decltype(exact)>(cell, kMarginBound_rad, exact, Margin::Zero(), {margins.data()})
      .fill();
}

void fill_ribbon_angles(const RibbonAxes& axes, double ribbon_px_per_rad, const Equirect& raster,
                        const Cell& cell, std::span<RibbonAngles> angles) {
  const RibbonAngles middle = axes.angles(raster.direction(cell.middle()));
  const auto exact = [&](const Vec2& panorama_px) -> Vec2 {
    const RibbonAngles at = axes.angles(raster.direction(panorama_px));
    return {std::remainder(at.psi_rad - middle.psi_rad, 2 * kPi), at.eta_rad - middle.eta_rad};
  };
  RunPlane psi;
  RunPlane eta;
  CellFill<2, decltype(exact)>(cell, kSourceBound_px / ribbon_px_per_rad, exact, Vec2::Zero(),
                               {psi.data(), eta.data()})
      .fill();
  for (int row = 0; row < cell.height; ++row) {
    for (int column = 0; column < cell.width; ++column) {
      const std::size_t i = Cell::index(column, row);
      angles[i] = {middle.psi_rad + static_cast<double>(psi[i]),
                   middle.eta_rad + static_cast<double>(eta[i])};
    }
  }
}

}  // namespace seamwright
