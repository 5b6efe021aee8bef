#include "compose/render/ribbon_sources.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "base/parallel.h"
#include "compose/render/source_grid.h"

namespace seamwright {

namespace {

constexpr int kCoarsestStep_px = 16;
const Vec2 kNowhere = Vec2::Constant(std::numeric_limits<double>::quiet_NaN());

}  // namespace

RibbonSources::RibbonSources(const LensMap& map, const RibbonGrid& grid, double reach_rad)
    : map_(map), grid_(grid), columns_(static_cast<std::size_t>(grid.width_px)) {
  for (int step = kCoarsestStep_px; step > 1; step /= 2) {
    lay_nodes(reach_rad, step);
    if (measured_error() <= 0.5 * kSourceBound_px) {  // the rest is room between the probes
      step_px_ = step;
      return;
    }
  }
  last_node_ = 0;
  column_nodes_.clear();
}

std::optional<Vec2> RibbonSources::exactly(double x_px, double eta_rad) const {
  return map_.source_px(
      grid_.axes.direction({grid_.psi_begin_rad + x_px / grid_.px_per_rad, eta_rad}));
}

void RibbonSources::lay_nodes(double reach_rad, int step_px) {
  nodes_per_rad_ = grid_.px_per_rad / step_px;
  const double begin_rad = grid_.eta_begin_rad - reach_rad;
  const double end_rad = eta_of_row(grid_, grid_.height_px) + reach_rad;
  const int cells = static_cast<int>(std::ceil(0.5 * (end_rad - begin_rad) * nodes_per_rad_));
  eta_begin_rad_ = begin_rad;
  last_node_ = 2.0 * cells;
  const int across = 2 * ((grid_.width_px + 2 * step_px - 1) / (2 * step_px));
  column_nodes_.assign(static_cast<std::size_t>(2 * cells + 1) * columns_, kNowhere);
  parallel_for(0, 2 * cells + 1, [&](int row) {
    const double eta = eta_begin_rad_ + row / nodes_per_rad_;
    std::vector<Vec2> node;
    for (int i = 0; i <= across; ++i) {
      node.push_back(exactly(1.0 * i * step_px, eta).value_or(kNowhere));
    }
    Vec2* to = column_nodes_.data() + static_cast<std::size_t>(row) * columns_;
    for (int x = 0; x < grid_.width_px; ++x) {
      const double at = (x + 0.5) / step_px;
      const auto cell = static_cast<std::size_t>(at) / 2;
      const double t = 0.5 * at - static_cast<double>(cell);
      const Vec2* first = node.data() + 2 * cell;
      to[x] = (1 - t) * (1 - 2 * t) * first[0] + 4 * t * (1 - t) * first[1] +
              t * (2 * t - 1) * first[2];
    }
  });
}

// Largest miss on probes in every cell, near its quarter points along and across.
double RibbonSources::measured_error() const {
  const int rows = static_cast<int>(last_node_) / 2;
  std::vector<double> worst(static_cast<std::size_t>(std::max(rows, 1)), 0.0);
  const int spacing = kCoarsestStep_px / 2;
  parallel_for(0, rows, [&](int row) {
    for (const double quarter : {0.25, 0.75}) {
      const double eta = eta_begin_rad_ + 2 * (row + quarter) / nodes_per_rad_;
      for (int x = spacing / 2; x < grid_.width_px; x += spacing) {
        const auto found = at(x, eta);
        const auto exact = exactly(x, eta);
        if (!found || !exact) continue;
        double& most = worst[static_cast<std::size_t>(row)];
        most = std::max(most, (*found - *exact).norm());
      }
    }
  });
  return *std::max_element(worst.begin(), worst.end());
}

}  // namespace seamwright
