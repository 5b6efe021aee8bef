#pragma once

#include <array>

#include "compose/cell.h"
#include "compose/lens_map.h"
#include "compose/light_kernels.h"
#include "compose/source_grid.h"
#include "projection/ribbon.h"

namespace seamwright {

/// Source positions of a cell's pixels when each is moved along a ribbon's η by a shift of its own.
///
/// The shift jumps at depth edges, but where a lens shows (pixel, shift) is smooth in both: the
/// exact map is interpolated quadratically over the cell (cell_fill.h) at three shifts, and between
/// those by the quadratic through them.
class MovedSources {
 public:
  /// For shifts in [least, most]. The lens must see the whole cell at all of them. False where the
  /// quadratic between the shifts would miss kSourceBound_px.
  bool prepare(const LensMap& map, const RibbonAxes& axes, const Equirect& raster, const Cell& cell,
               double least_rad, double most_rad);

  /// Sets position `to` of a run to pixel `i` (Cell::index) at a shift within the prepared range.
  void put(std::size_t i, double shift_rad, SourceRun& run, std::size_t to) const {
    const auto s = static_cast<float>((shift_rad - least_rad_) * per_rad_);
    const float at_least = (1 - s) * (1 - 2 * s);
    const float at_middle = 4 * s * (1 - s);
    const float at_most = s * (2 * s - 1);
    run.x[to] = at_least * planes_[0][i] + at_middle * planes_[2][i] + at_most * planes_[4][i];
    run.y[to] = at_least * planes_[1][i] + at_middle * planes_[3][i] + at_most * planes_[5][i];
  }
  [[nodiscard]] int anchor_x() const { return anchor_x_; }
  [[nodiscard]] int anchor_y() const { return anchor_y_; }

 private:
  double least_rad_ = 0;
  double per_rad_ = 0;
  int anchor_x_ = 0;
  int anchor_y_ = 0;
  std::array<RunPlane, 6> planes_;  // x and y at the least, the middle and the most shift
};

}  // namespace seamwright
