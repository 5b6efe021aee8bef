#pragma once

// A ribbon's rasters read at runs of places, many at a time: RibbonCorners
// (compose/seams/ribbon_corners.h) for runs. As in light_kernels.h the results are equal to the bit
// whatever the instruction set. Runs are whole rows of a cell: their counts are multiples of
// kRunSlack.

#include <array>
#include <cstddef>
#include <cstdint>

#include "sampling/light_kernels.h"

namespace seamwright {

/// Places in a ribbon's raster, continuous pixels relative to a whole one near them.
struct PlaceRun {
  int anchor_column = 0;  ///< less than a width before the raster's first column or past its last
  int anchor_row = 0;
  std::size_t count = 0;  ///< at most kMostRun
  RunPlane column;        ///< less than a width
  RunPlane row;
};

/// Size of a ribbon's raster; columns of a closed one wrap.
struct RibbonShape {
  int width_px = 0;
  int height_px = 0;
  bool closed = false;
};

/// One whole number a position.
using RunInts = std::array<std::int32_t, kMostRun + kRunSlack>;

/// The four pixels around each place and their weights.
struct CornerRun {
  std::size_t count = 0;
  std::array<RunInts, 2> column;
  std::array<RunInts, 2> row;
  RunPlane right;  ///< share of column[1]
  RunPlane down;   ///< share of row[1]
  /// Outermost corners before they are wrapped and held.
  int first_column = 0;
  int last_column = 0;
  int first_row = 0;
  int last_row = 0;
};

void find_corners(const PlaceRun& places, const RibbonShape& shape, CornerRun& corners);

/// A raster of floats, `width_px` a row, interpolated.
void read_raster(const float* raster, int width_px, const CornerRun& corners, RunPlane& values);
/// One float a column, interpolated.
void read_columns(const float* of_columns, const CornerRun& corners, RunPlane& values);
/// A raster of BandBlend::Tones, interpolated, as strong as the walk (null: 1 everywhere).
void read_tones(const float* raster, int width_px, const CornerRun& corners,
                const RunPlane* strength, RunTones& tones);

/// SeamPath::share_a() where the seam runs through the rows `seam_rows`; these may be `shares`.
void share_along_seam(const RunPlane& seam_rows, const PlaceRun& places, float feather_px,
                      RunPlane& shares);

/// Positions by shift: x and y at shifts that are one `step` apart, in turn.
struct ShiftedPlanes {
  float least = 0;     ///< the first shift
  float per_step = 0;  ///< 1 / step
  std::array<const float*, 6> position{};
};

/// The quadratics through three shifts of each position, at each one's own shift. Sets x and y.
void move_positions(const ShiftedPlanes& planes, const RunPlane& shifts, std::size_t count,
                    SourceRun& run);

/// The least and the most of a run's values.
struct RunRange {
  float least = 0;
  float most = 0;
};
[[nodiscard]] RunRange range_of(const RunPlane& values, std::size_t count);

}  // namespace seamwright
