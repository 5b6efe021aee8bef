#pragma once

#include "compose/render/cell.h"
#include "compose/render/light_kernels.h"
#include "compose/render/pair_kernels.h"
#include "projection/ribbon.h"
#include "sampling/lens_map.h"

namespace seamwright {

static_assert(Cell::kPixels <= static_cast<int>(kMostRun));

/// Interpolated source positions stay within this of the exact ones: on an edge of 10 % a pixel
/// that is 13 of 65535 codes, on ordinary texture less than one.
inline constexpr double kSourceBound_px = 0.002;
/// Interpolated margins: a thousandth of a per cent of a blend's share.
inline constexpr double kMarginBound_rad = 2e-6;

/// Source positions of all pixel centres of a cell that lies wholly inside the lens' field, in
/// Cell::index order (cell_fill.h). Places beyond a narrow cell's width hold some position in the
/// frame.
void fill_sources(const LensMap& map, const Equirect& raster, const Cell& cell, SourceRun& sources);

/// LensMap::margin_rad() of all pixel centres of a cell. Where it has a fold (the frame's border
/// and the rim equally far) it is evaluated exactly.
void fill_margins(const LensMap& map, const Equirect& raster, const Cell& cell, RunPlane& margins);

/// Where a ribbon's raster shows all pixel centres of a cell, without a jump within it. Places
/// beyond a narrow cell's width hold one in its middle.
void fill_ribbon_places(const RibbonGrid& grid, const Equirect& raster, const Cell& cell,
                        PlaceRun& places);

}  // namespace seamwright
