#pragma once

#include "compose/render/pair_kernels.h"
#include "projection/ribbon.h"
#include "sampling/cell_sources.h"

namespace seamwright {

/// Interpolated margins: a thousandth of a per cent of a blend's share.
inline constexpr double kMarginBound_rad = 2e-6;

/// LensMap::margin_rad() of all pixel centres of a cell. Where it has a fold (the frame's border
/// and the rim equally far) it is evaluated exactly.
void fill_margins(const LensMap& map, const Equirect& raster, const Cell& cell, RunPlane& margins);

/// Where a ribbon's raster shows all pixel centres of a cell, without a jump within it. Places
/// beyond a narrow cell's width hold one in its middle.
void fill_ribbon_places(const RibbonGrid& grid, const Equirect& raster, const Cell& cell,
                        PlaceRun& places);

}  // namespace seamwright
