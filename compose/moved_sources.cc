#include "compose/moved_sources.h"

#include <algorithm>
#include <limits>

#include "compose/cell_fill.h"

namespace seamwright {

bool MovedSources::prepare(const LensMap& map, const RibbonAxes& axes, const Equirect& raster,
                           const Cell& cell, double least_rad, double most_rad) {
  constexpr double kLeastSpan_rad = 1e-7;  // a ten-thousandth of a pixel
  const double span = std::max(most_rad - least_rad, kLeastSpan_rad);
  least_rad_ = least_rad;
  per_rad_ = 1 / span;
  const auto moved = [&](const RibbonAngles& at, double part) -> Vec2 {
    const Vec3 direction = axes.direction({at.psi_rad, at.eta_rad + least_rad + part * span});
    return map.source_px(direction).value_or(
        Vec2::Constant(std::numeric_limits<double>::quiet_NaN()));
  };
  const RibbonAngles middle = axes.angles(raster.direction(cell.middle()));
  const Vec2 a = moved(middle, 0);
  const Vec2 b = moved(middle, 0.5);
  const Vec2 c = moved(middle, 1);
  const double low = (0.375 * a + 0.75 * b - 0.125 * c - moved(middle, 0.25)).norm();
  const double high = (-0.125 * a + 0.75 * b + 0.375 * c - moved(middle, 0.75)).norm();
  if (!(std::max(low, high) <= 0.5 * kSourceBound_px)) return false;

  anchor_x_ = static_cast<int>(b.x());
  anchor_y_ = static_cast<int>(b.y());
  using Positions = Eigen::Matrix<double, 6, 1>;
  const auto exact = [&](const Vec2& panorama_px) -> Positions {
    const RibbonAngles at = axes.angles(raster.direction(panorama_px));
    Positions all;
    all << moved(at, 0), moved(at, 0.5), moved(at, 1);
    return all;
  };
  Positions origin;
  origin << anchor_x_, anchor_y_, anchor_x_, anchor_y_, anchor_x_, anchor_y_;
  CellFill<6, decltype(exact)>(cell, kSourceBound_px, exact, origin,
                               {planes_[0].data(), planes_[1].data(), planes_[2].data(),
                                planes_[3].data(), planes_[4].data(), planes_[5].data()})
      .fill();
  return true;
}

}  // namespace seamwright
