#pragma once

// Inner loops over rows of a ribbon. Plain loops, compiled for every instruction set that a machine
// may have (Highway's dispatch): single floats in one order without fused multiply-add, so the same
// bits everywhere.

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

namespace seamwright {

/// Points that a lens or a viewpoint sees under one colatitude (baseline_view.h), one a column.
struct RibbonPointRow {
  float sin = 0;  ///< of the colatitude
  float cos = 1;
  const float* inverse_m = nullptr;
  std::size_t count = 0;
};

/// turn_row() and walk_row() give this where their series do not reach; RibbonPoint and
/// ViewpointSlide::shown_eta then have the exact value.
inline constexpr float kNoTurn = 1e9F;

/// turn[x] = RibbonPoint(from_m, colatitude, inverse_m[x]).eta_from(to_m) − colatitude, within
/// 3e-8 rad, or kNoTurn.
void turn_row(const RibbonPointRow& row, float from_m, float to_m, float* turn);
/// The same from an offset of each point's own.
void turn_row(const RibbonPointRow& row, const float* from_m, float to_m, float* turn);

/// A walk of the viewpoint (viewpoint_slide.h) under one colatitude.
struct WalkRow {
  float half_m = 0;
  double eta_rad = 0;                 ///< the colatitude
  const double* begin_rad = nullptr;  ///< where each column's walk begins
  const float* per_width = nullptr;   ///< 1 / rad; large where there is no walk
};

/// offset_m[x] = ViewpointSlide::offset_m() for the colatitude itself.
void offset_row(const WalkRow& walk, std::size_t count, float* offset_m);

/// turn[x] = ViewpointSlide::shown_eta(from_m, colatitude, inverse_m[x]) − colatitude, within
/// 1e-7 rad, or kNoTurn.
void walk_row(const RibbonPointRow& row, const WalkRow& walk, float from_m, float* turn);

/// Paths of closed_path.h: costs are whole numbers in doubles times kPathUnit, which leaves room
/// below them for the choice that was made; more than kNoPath cannot be reached.
inline constexpr double kPathUnit = 64;
inline constexpr double kNoPath = 18014398509481984.0;  // 2⁵⁴

/// One column of the search for a path.
struct PathColumn {
  const double* before = nullptr;  ///< costs by row, readable `most` rows beyond both ends
  const std::int32_t* node = nullptr;
  const double* step = nullptr;  ///< [d] is the price of d rows, 1 … most
  int most = 0;
};
/// The cheapest ways `to` each row, and which choice `came` they were: 0 for the same row, 2d − 1
/// for d rows above, 2d for d rows below; of equals the least.
void path_column(const PathColumn& column, std::size_t count, double* to, std::int8_t* came);

/// By how many rows of a view places have moved (moved_views.cc): `now` less `read` over the rows'
/// spacing, which the readings `above` and `below` tell, `between` rows apart.
struct MovedRow {
  const float* now_rad = nullptr;
  const float* read_rad = nullptr;
  const float* above_rad = nullptr;
  const float* below_rad = nullptr;
  float px_per_rad = 1;
  float between = 2;
};
void moved_row(const MovedRow& row, std::size_t count, float* by_px);

/// value[i], held at 0, between samples down a column (Catmull and Rom 1974), where by_px[i] is not
/// 0: `rows` begin `first` rows from the value's own.
void interpolate_row(std::span<const float* const> rows, int first, const float* by_px,
                     std::size_t count, float* value);

}  // namespace seamwright
