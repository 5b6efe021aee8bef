#include "sampling/cell_sources.h"

#include <algorithm>
#include <limits>

#include "sampling/cell_fill.h"

namespace seamwright {

namespace {

constexpr double kNoNumber = std::numeric_limits<double>::quiet_NaN();

Vec2 corner_of(const Cell& cell, int corner) {
  return {cell.x + corner % 2 * cell.width, cell.y + corner / 2 * cell.height};
}

// True where no part of a cell is seen: a margin changes by at most the angle moved.
bool sees_nothing(const LensMap& map, const DirectionAt& direction_at, const Cell& cell) {
  constexpr double kMore = 1.1;  // than a corner's distance, for edges that bulge
  const Vec3 middle = direction_at(cell.middle());
  double reach = 0;
  for (int corner = 0; corner < 4; ++corner) {
    reach = std::max(reach, angle_between(middle, direction_at(corner_of(cell, corner))));
  }
  return map.margin_rad(middle) < -kMore * reach;
}

// A whole pixel near the sources of a cell: that of its middle, or of a corner that is seen.
Vec2 anchor_of(const Cell& cell, const auto& exact) {
  Vec2 anchor = exact(cell.middle());
  for (int corner = 0; corner < 4 && anchor.hasNaN(); ++corner) {
    anchor = exact(corner_of(cell, corner));
  }
  return anchor.hasNaN() ? Vec2(Vec2::Zero()) : Vec2(anchor.array().floor());
}

}  // namespace

void fill_sources(const LensMap& map, const DirectionAt& direction_at, const Cell& cell,
                  SourceRun& sources) {
  const auto exact = [&](const Vec2& px) -> Vec2 {
    return map.source_px(direction_at(px)).value_or(Vec2::Constant(kNoNumber));
  };
  if (sees_nothing(map, direction_at, cell)) {
    sources.count = static_cast<std::size_t>(cell.height * Cell::kSize);
    sources.x.fill(static_cast<float>(kNoNumber));
    sources.y.fill(static_cast<float>(kNoNumber));
    return;
  }
  const Vec2 anchor = anchor_of(cell, exact);
  sources.anchor(anchor);
  sources.count = static_cast<std::size_t>(cell.height * Cell::kSize);
  if (cell.width < Cell::kSize) {
    sources.x.fill(0);
    sources.y.fill(0);
  }
  CellFill<2, decltype(exact)>(cell, kSourceBound_px, exact, anchor,
                               {sources.x.data(), sources.y.data()})
      .fill();
}

}  // namespace seamwright
