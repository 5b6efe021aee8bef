#pragma once

#include "projection/ribbon.h"
#include "sampling/cell_sources.h"

namespace seamwright {

/// By how much each pixel of a cell is moved along a ribbon's η.
struct CellShifts {
  const RibbonAxes& axes;
  const RunPlane& by_rad;  ///< Cell::index order
};

/// Source positions of a cell's pixels (Cell::index order) when each is moved by a shift of its
/// own. False where one is larger than `room_rad`, within which the lens sees what the cell is
/// moved to, or where what follows would miss kSourceBound_px.
///
/// The shift jumps at depth edges, but where a lens shows (pixel, shift) is smooth in both: the
/// exact map is interpolated quadratically over the cell (cell_fill.h) at three shifts, and between
/// those by the quadratic through them.
[[nodiscard]] bool fill_moved_sources(const LensMap& map, const DirectionAt& direction_at,
                                      const Cell& cell, const CellShifts& shifts, double room_rad,
                                      SourceRun& sources);

}  // namespace seamwright
