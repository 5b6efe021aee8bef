#pragma once

// Exact on nodes, interpolated between: smooth functions of a raster's pixel, filled into a cell
// from few exact evaluations.
//
// The function is evaluated on 3 × 3 nodes and interpolated quadratically both ways; edges are
// shared, so neighbours join without a step. Along each axis the interpolation's error is
// f‴ h³ x (x − ½)(x − 1) / 6, which at the quarter points has 97 % of its largest value: four
// exact evaluations there measure it. Where the sum of both axes exceeds half of the bound the cell
// is divided, down to exact evaluation; the other half is room for f‴ changing within the cell.
// So is a cell that the border of a function's domain crosses, beyond which its value is no number;
// parts of it that `exact.nothing(part)` knows to lie beyond are left out, small ones are asked
// pixel by pixel.

#include <algorithm>
#include <array>
#include <cstddef>
#include <limits>

#include <Eigen/Core>

#include "sampling/cell.h"

namespace seamwright {

/// Fills `planes` (one a component, Cell::index order) with a function of kParts components, less
/// `origin`. `exact(raster_px)` returns its value, an Eigen column of doubles.
template <int kParts, class Exact>
class CellFill {
 public:
  using Value = Eigen::Matrix<double, kParts, 1>;
  using Planes = std::array<float*, static_cast<std::size_t>(kParts)>;

  CellFill(const Cell& cell, double bound, const Exact& exact, const Value& origin,
           const Planes& planes)
      : cell_(cell), bound_(bound), exact_(exact), origin_(origin), planes_(planes) {}

  void fill() { fill(cell_); }

 private:
  // The quadratic with these values at 0, ½ and 1, as a polynomial.
  struct Quadratic {
    Value c0, c1, c2;
    Quadratic(const Value& a, const Value& b, const Value& c)
        : c0(a), c1(-3 * a + 4 * b - c), c2(2 * a - 4 * b + 2 * c) {}
    [[nodiscard]] Value at(double t) const { return c0 + t * (c1 + t * c2); }
  };
  using Nodes = std::array<std::array<Value, 3>, 3>;

  void fill(const Cell& part) {
    if (part.width <= 2 || part.height <= 2) return fill_exactly(part);
    Nodes node;
    bool numbers = true;
    for (std::size_t j = 0; j < 3; ++j) {
      for (std::size_t i = 0; i < 3; ++i) {
        node[j][i] = at(part, 0.5 * static_cast<double>(i), 0.5 * static_cast<double>(j));
        numbers = numbers && !node[j][i].hasNaN();
      }
    }
    if (!numbers) return fill_crossed(part);
    if (!(measured_error(part, node) <= 0.5 * bound_)) return divide(part);
    const Quadratic left(node[0][0], node[1][0], node[2][0]);
    const Quadratic middle(node[0][1], node[1][1], node[2][1]);
    const Quadratic right(node[0][2], node[1][2], node[2][2]);
    for (int row = 0; row < part.height; ++row) {
      const double t = (row + 0.5) / part.height;
      fill_row(part, row,
               Quadratic(left.at(t) - origin_, middle.at(t) - origin_, right.at(t) - origin_));
    }
  }

  // In single floats: the values are small, the origin is taken off.
  void fill_row(const Cell& part, int row, const Quadratic& along) const {
    const float step = 1.0F / static_cast<float>(part.width);
    for (int k = 0; k < kParts; ++k) {
      const auto c0 = static_cast<float>(along.c0[k]);
      const auto c1 = static_cast<float>(along.c1[k]);
      const auto c2 = static_cast<float>(along.c2[k]);
      float* out = planes_[static_cast<std::size_t>(k)] + place(part, 0, row);
      for (int column = 0; column < part.width; ++column) {
        const float t = (static_cast<float>(column) + 0.5F) * step;
        out[column] = c0 + t * (c1 + t * c2);
      }
    }
  }

  [[nodiscard]] Value at(const Cell& part, double right, double down) const {
    return exact_(Vec2(part.x + right * part.width, part.y + down * part.height));
  }
  [[nodiscard]] std::size_t place(const Cell& part, int column, int row) const {
    return Cell::index(part.x - cell_.x + column, part.y - cell_.y + row);
  }

  // What is no number is larger than all that are.
  static double larger(double a, double b) { return b <= a || a != a ? a : b; }

  [[nodiscard]] double measured_error(const Cell& part, const Nodes& node) const {
    const Quadratic along_row(node[1][0], node[1][1], node[1][2]);
    const Quadratic along_column(node[0][1], node[1][1], node[2][1]);
    double right = 0;
    double down = 0;
    for (const double quarter : {0.25, 0.75}) {
      right = larger(right, (along_row.at(quarter) - at(part, quarter, 0.5)).norm());
      down = larger(down, (along_column.at(quarter) - at(part, 0.5, quarter)).norm());
    }
    return right + down;
  }

  // A part in which some node has no value.
  void fill_crossed(const Cell& part) {
    constexpr int kSmall = 8;
    if constexpr (requires { exact_.nothing(part); }) {
      if (exact_.nothing(part)) return fill_with_nothing(part);
    }
    if (part.width <= kSmall && part.height <= kSmall) return fill_exactly(part);
    divide(part);
  }

  void fill_with_nothing(const Cell& part) const {
    for (int row = 0; row < part.height; ++row) {
      for (float* plane : planes_) {
        std::fill_n(plane + place(part, 0, row), part.width,
                    std::numeric_limits<float>::quiet_NaN());
      }
    }
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
        const Value value = exact_(Vec2(part.x + column + 0.5, part.y + row + 0.5)) - origin_;
        for (int k = 0; k < kParts; ++k) {
          planes_[static_cast<std::size_t>(k)][place(part, column, row)] =
              static_cast<float>(value[k]);
        }
      }
    }
  }

  const Cell& cell_;
  double bound_;
  const Exact& exact_;
  Value origin_;
  Planes planes_;
};

}  // namespace seamwright
