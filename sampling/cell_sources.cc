#include "sampling/cell_sources.h"

#include <algorithm>
#include <limits>

#include "sampling/cell_fill.h"

namespace seamwright {

namespace {

Vec2 corner_of(const Cell& cell, int corner) {
  return {cell.x + corner % 2 * cell.width, cell.y + corner / 2 * cell.height};
}

// A lens' exact map of a raster.
struct ExactSources {
  const LensMap& map;
  const DirectionAt& direction_at;

  // No number where the lens or its frame ends.
  Vec2 operator()(const Vec2& px) const {
    return map.source_px(direction_at(px))
        .value_or(Vec2::Constant(std::numeric_limits<double>::quiet_NaN()));
  }
  // True where no part of a cell is seen: a margin changes by at most the angle moved.
  [[nodiscard]] bool nothing(const Cell& cell) const {
    constexpr double kMore = 1.1;  // than a corner's distance, for edges that bulge
    const Vec3 middle = direction_at(cell.middle());
    const double margin = map.margin_rad(middle);
    if (margin >= 0) return false;
    double reach = 0;
    for (int corner = 0; corner < 4; ++corner) {
      reach = std::max(reach, angle_between(middle, direction_at(corner_of(cell, corner))));
    }
    return margin < -kMore * reach;
  }
  // A whole pixel near what is seen of a cell: that of its middle, or of a corner.
  [[nodiscard]] Vec2 anchor(const Cell& cell) const {
    Vec2 at = (*this)(cell.middle());
    for (int corner = 0; corner < 4 && at.hasNaN(); ++corner) {
      at = (*this)(corner_of(cell, corner));
    }
    return at.hasNaN() ? Vec2(Vec2::Zero()) : Vec2(at.array().floor());
  }
};

}  // namespace

void fill_sources(const LensMap& map, const DirectionAt& direction_at, const Cell& cell,
                  SourceRun& sources) {
  const ExactSources exact{map, direction_at};
  const Vec2 anchor = exact.anchor(cell);
  sources.anchor(anchor);
  sources.count = static_cast<std::size_t>(cell.height * Cell::kSize);
  if (cell.width < Cell::kSize) {
    sources.x.fill(0);
    sources.y.fill(0);
  }
  CellFill<2, ExactSources>(cell, kSourceBound_px, exact, anchor,
                            {sources.x.data(), sources.y.data()})
      .fill();
}

}  // namespace seamwright
