#pragma once

// Inner loops of what a blend sums and weighs, over rows of a ribbon; as in ribbon_kernels.h the
// same bits everywhere.

#include <array>
#include <cstddef>

namespace seamwright {

/// Weighted sums of a column of gain_field.cc: of 1, of its tilt and that squared, of the ratio
/// times 1 and times the tilt; and how many agree.
struct AgreeSums {
  enum : std::size_t { one, tilt, tilt_square, ratio, ratio_tilt, agreeing, count };
  std::array<float*, count> of{};
};

/// A row of ratios beside what is fitted to them, by column.
struct RatioRow {
  const float* known = nullptr;  ///< 1 or 0
  const float* ratio_ev = nullptr;
  const float* fit_ev = nullptr;
  float tilt = 0;
  float per_agree_ev = 1;  ///< 1 / EV off that still agrees
};
/// Adds Tukey's weight of every column's ratio to the sums.
void add_agreeing(const RatioRow& row, std::size_t count, const AgreeSums& sums);

/// What crosses over in a row of a blend: the share of lens a is 1 above `top`, 0 below `bottom`
/// (rows, by column) and crosses between them around `seam` by half widths of at most `half_px`.
struct CrossingRow {
  float row = 0;
  float half_px = 0;
  const float* seam = nullptr;
  const float* top = nullptr;
  const float* bottom = nullptr;
};
void crossing_row(const CrossingRow& crossing, std::size_t count, float* share_a);

/// share[x] = smooth_step((row − top[x]) / (bottom[x] − top[x])); a step where there is no room.
void sliding_row(float row, const float* top, const float* bottom, std::size_t count, float* share);

/// gain_a[x] = 2^(−share[x] · ratio_ev[x]), gain_b[x] = 2^((1 − share[x]) · ratio_ev[x]).
void gains_row(const float* share, const float* ratio_ev, std::size_t count, float* gain_a,
               float* gain_b);

/// A row of one level of a blend (band_blend.h).
struct LevelRow {
  const float* weighted = nullptr;  ///< values times their weights
  const float* weight = nullptr;
  const float* there = nullptr;  ///< the coarser level
  float enough = 1;              ///< weight from which on a value is believed
};
/// here[x] = there[x] + known · (weighted / weight − there[x]), `known` the weight's part of
/// `enough`, at most 1; band[x] = here[x] − there[x].
void level_row(const LevelRow& row, std::size_t count, float* here, float* band);

/// log2 of floor + light[x], light not below 0.
void log_row(const float* light, float floor, std::size_t count, float* to);

/// to += Σ tap_i · row_i, rows `stride` apart.
void add_rows(const float* tap, int count, const float* from, std::ptrdiff_t stride, int width,
              float* to);

}  // namespace seamwright
