#pragma once

#include <span>

#include "compose/cell.h"
#include "compose/lens_map.h"
#include "compose/light_kernels.h"
#include "projection/ribbon.h"

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

/// Ribbon angles of all pixel centres of a cell, ψ without a jump within it.
void fill_ribbon_angles(const RibbonAxes& axes, double ribbon_px_per_rad, const Equirect& raster,
                        const Cell& cell, std::span<RibbonAngles> angles);

}  // namespace seamwright
