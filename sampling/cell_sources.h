#pragma once

// Where a lens shows the pixels of a raster. Everything that reads a frame asks here: strips that
// are matched, ribbons that are blended, cells of a panorama. The lens' exact map is asked on few
// nodes of a cell and interpolated between them (cell_fill.h).

#include <functional>

#include "sampling/cell.h"
#include "sampling/lens_map.h"
#include "sampling/source_run.h"

namespace seamwright {

static_assert(Cell::kPixels <= static_cast<int>(kMostRun));

/// Direction in the rig (any length > 0) of a raster position.
using DirectionAt = std::function<Vec3(const Vec2& px)>;

/// Interpolated source positions stay within this of the exact ones: on an edge of 10 % a pixel
/// that is 13 of 65535 codes, on ordinary texture less than one.
inline constexpr double kSourceBound_px = 0.002;

/// Source positions of all pixel centres of a cell, in Cell::index order; no number where the lens
/// or its frame ends. Places beyond a narrow cell's width hold some position in the frame.
void fill_sources(const LensMap& map, const DirectionAt& direction_at, const Cell& cell,
                  SourceRun& sources);

}  // namespace seamwright
