#include "compose/source_grid.h"

#include <algorithm>
#include <cassert>
#include <limits>

namespace seamwright {

namespace {

// Quadratic through values at 0, ½ and 1.
struct QuadraticBasis {
  double at_0, at_half, at_1;

  explicit QuadraticBasis(double t)
      : at_0((1 - t) * (1 - 2 * t)), at_half(4 * t * (1 - t)), at_1(t * (2 * t - 1)) {}
  [[nodiscard]] Vec2 blend(const Vec2& a, const Vec2& b, const Vec2& c) const {
    return at_0 * a + at_half * b + at_1 * c;
  }
};

class SourceFiller {
 public:
  SourceFiller(const LensMap& map, const Equirect& raster, const Cell& cell, CellSources& sources)
      : map_(map), raster_(raster), cell_(cell), sources_(sources) {}

  void fill(const Cell& part) {
    if (part.width <= 2 || part.height <= 2) return fill_exactly(part);
    std::array<std::array<Vec2, 3>, 3> node;
    for (std::size_t j = 0; j < 3; ++j) {
      for (std::size_t i = 0; i < 3; ++i) {
        node[j][i] = at(part, 0.5 * static_cast<double>(i), 0.5 * static_cast<double>(j));
      }
    }
    if (measured_error_px(part, node) > 0.5 * kSourceBound_px) return divide(part);
    for (int row = 0; row < part.height; ++row) {
      const QuadraticBasis down((row + 0.5) / part.height);
      std::array<Vec2, 3> across;
      for (std::size_t i = 0; i < 3; ++i) {
        across[i] = down.blend(node[0][i], node[1][i], node[2][i]);
      }
      for (int column = 0; column < part.width; ++column) {
        const QuadraticBasis right((column + 0.5) / part.width);
        place(part, column, row) = right.blend(across[0], across[1], across[2]);
      }
    }
  }

 private:
  [[nodiscard]] Vec2 exact(const Vec2& panorama_px) const {
    const auto px = map_.source_px(raster_.direction(panorama_px));
    assert(px && "the cell must lie inside the lens' field");
    return px.value_or(Vec2::Constant(std::numeric_limits<double>::quiet_NaN()));
  }
  [[nodiscard]] Vec2 at(const Cell& part, double right, double down) const {
    return exact({part.x + right * part.width, part.y + down * part.height});
  }
  [[nodiscard]] Vec2& place(const Cell& part, int column, int row) const {
    return sources_[Cell::index(part.x - cell_.x + column, part.y - cell_.y + row)];
  }

  [[nodiscard]] double measured_error_px(const Cell& part,
                                         const std::array<std::array<Vec2, 3>, 3>& node) const {
    double right = 0;
    double down = 0;
    for (const double quarter : {0.25, 0.75}) {
      const QuadraticBasis basis(quarter);
      const Vec2 along_row = basis.blend(node[1][0], node[1][1], node[1][2]);
      const Vec2 along_column = basis.blend(node[0][1], node[1][1], node[2][1]);
      right = std::max(right, (along_row - at(part, quarter, 0.5)).norm());
      down = std::max(down, (along_column - at(part, 0.5, quarter)).norm());
    }
    return right + down;
  }

  void divide(const Cell& part) {
    const int left = part.width / 2;
    const int top = part.height / 2;
    fill({part.x, part.y, left, top});
    fill({part.x + left, part.y, part.width - left, top});
    fill({part.x, part.y + top, left, part.height - top});
    fill({part.x + left, part.y + top, part.width - left, part.height - top});
  }

  void fill_exactly(const Cell& part) {
    for (int row = 0; row < part.height; ++row) {
      for (int column = 0; column < part.width; ++column) {
        place(part, column, row) = exact({part.x + column + 0.5, part.y + row + 0.5});
      }
    }
  }

  const LensMap& map_;
  const Equirect& raster_;
  const Cell& cell_;
  CellSources& sources_;
};

}  // namespace

double Cell::reach_rad(const Equirect& raster) const {
  // A step along a parallel moves by at most the longitude's change.
  return 0.5 * (width * 2.0 * kPi / raster.width + height * kPi / raster.height);
}

void fill_sources(const LensMap& map, const Equirect& raster, const Cell& cell,
                  CellSources& sources) {
  SourceFiller(map, raster, cell, sources).fill(cell);
}

}  // namespace seamwright
