#include "compose/render/source_grid.h"

#include <cmath>

#include "sampling/cell_fill.h"

namespace seamwright {

void fill_margins(const LensMap& map, const Equirect& raster, const Cell& cell, RunPlane& margins) {
  using Margin = Eigen::Matrix<double, 1, 1>;
  const auto exact = [&](const Vec2& panorama_px) {
    return Margin(map.margin_rad(raster.direction(panorama_px)));
  };
  CellFill<1, decltype(exact)>(cell, kMarginBound_rad, exact, Margin::Zero(), {margins.data()})
      .fill();
}

void fill_ribbon_places(const RibbonGrid& grid, const Equirect& raster, const Cell& cell,
                        PlaceRun& places) {
  const RibbonAngles middle = grid.axes.angles(raster.direction(cell.middle()));
  // Nearest to the raster's middle: beyond an open ribbon's ends the nearer one is held.
  const double half_turn = 0.5 * grid.width_px / grid.px_per_rad;
  const double from_middle =
      std::remainder(middle.psi_rad - grid.psi_begin_rad - half_turn, 2 * kPi);
  const Vec2 middle_px((half_turn + from_middle) * grid.px_per_rad,
                       (middle.eta_rad - grid.eta_begin_rad) * grid.px_per_rad);
  const Vec2 anchor = middle_px.array().floor();
  const Vec2 past_anchor = middle_px - anchor;
  const auto exact = [&](const Vec2& panorama_px) -> Vec2 {
    const RibbonAngles at = grid.axes.angles(raster.direction(panorama_px));
    return past_anchor +
           grid.px_per_rad * Vec2(std::remainder(at.psi_rad - middle.psi_rad, 2 * kPi),
                                  at.eta_rad - middle.eta_rad);
  };
  places.anchor_column = static_cast<int>(anchor.x());
  places.anchor_row = static_cast<int>(anchor.y());
  places.count = static_cast<std::size_t>(cell.height * Cell::kSize);
  if (cell.width < Cell::kSize) {
    places.column.fill(0);
    places.row.fill(0);
  }
  CellFill<2, decltype(exact)>(cell, kSourceBound_px, exact, Vec2::Zero(),
                               {places.column.data(), places.row.data()})
      .fill();
}

}  // namespace seamwright
