#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "projection/ribbon.h"
#include "sampling/lens_map.h"

namespace seamwright {

/// Where a lens shows the places of a ribbon: its exact map on few rows and columns, interpolated
/// quadratically both ways. A ribbon is read several times, each time with other shifts along η;
/// from here a position costs a few operations instead of a projection.
///
/// Nodes lie as far apart as keeps the error, measured where a quadratic's is largest, within
/// kSourceBound_px (source_grid.h). Where a node lies outside the lens' field the map is asked.
class RibbonSources {
 public:
  /// For colatitudes from the grid's rows up to `reach_rad` beyond them; others are found exactly.
  /// `map` must outlive it.
  RibbonSources(const LensMap& map, const RibbonGrid& grid, double reach_rad);

  /// Source pixel at the centre of column x under a colatitude; empty outside the lens' field.
  [[nodiscard]] std::optional<Vec2> at(int x, double eta_rad) const {
    const double node = (eta_rad - eta_begin_rad_) * nodes_per_rad_;
    if (!(node >= 0) || node >= last_node_) return exactly(x, eta_rad);
    const auto cell = static_cast<std::size_t>(node) / 2;
    const double t = 0.5 * node - static_cast<double>(cell);
    const Vec2* first = column_nodes_.data() + 2 * cell * columns_ + static_cast<std::size_t>(x);
    const double before = (1 - t) * (1 - 2 * t);
    const double middle = 4 * t * (1 - t);
    const double after = t * (2 * t - 1);
    const Vec2 px = before * first[0] + middle * first[columns_] + after * first[2 * columns_];
    if (px.x() != px.x()) return exactly(x, eta_rad);
    return px;
  }

  /// Ribbon pixels between nodes; 0: every position is found exactly.
  [[nodiscard]] int step_px() const { return step_px_; }

 private:
  [[nodiscard]] std::optional<Vec2> exactly(double x_px, double eta_rad) const;
  [[nodiscard]] std::optional<Vec2> exactly(int x, double eta_rad) const {
    return exactly(x + 0.5, eta_rad);
  }
  void lay_nodes(double reach_rad, int step_px);
  [[nodiscard]] double measured_error() const;

  const LensMap& map_;
  RibbonGrid grid_;
  std::size_t columns_;
  double eta_begin_rad_ = 0;
  double nodes_per_rad_ = 0;
  double last_node_ = 0;  // the last cell's end
  int step_px_ = 0;
  std::vector<Vec2> column_nodes_;  // rows of nodes, each with every column; NaN outside the field
};

}  // namespace seamwright
