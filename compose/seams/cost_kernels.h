#pragma once

// The inner loops of match_cost.h, cost_aggregation.h and lens_depth.h. Plain loops, compiled for
// every instruction set that a machine may have (Highway's dispatch); whole numbers, or single
// floats in one order without fused multiply-add: the same bits everywhere.

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

namespace seamwright {

/// A difference where either lens does not see.
inline constexpr std::int16_t kUnseenDifference = -16384;

/// Four rows of the other strip and their weights.
struct PartnerRows {
  std::array<const float*, 4> value;
  std::array<const std::uint8_t*, 4> seen;
  std::array<float, 4> weight;
};

/// to[x] = unit · (here[x] − the partner's), toward zero; kUnseenDifference where anything is
/// unseen.
void difference_row(const float* here, const std::uint8_t* here_seen, const PartnerRows& partner,
                    float unit, std::size_t count, std::int16_t* to);

/// sum[x] = Σ min(|centre[x] − neighbour|, clip) over the window of 5 × 5 around each pixel, rows
/// `stride` apart. Readable two columns beyond both ends and two rows up and down.
void window_row(const std::int16_t* centre, std::ptrdiff_t stride, std::int16_t clip,
                std::size_t count, std::int16_t* sum);

/// to[x] = the median of the 3 × 3 values around column x of the middle row. Readable one column
/// beyond both ends.
void median_row(const std::array<const float*, 3>& rows, std::size_t count, float* to);

/// A path's step to its next pixel. Costs are those of the labels that this pixel tries.
struct PathStep {
  const std::int16_t* before;  ///< of the best ways to the pixel before; readable one label beyond
  std::int16_t base;           ///< the least of these
  std::int16_t large_step;
  int labels;                ///< a multiple of kLabelsTogether
  const std::uint8_t* cost;  ///< of the pixel
  std::int16_t* now;         ///< set: of the best ways to this pixel
  std::int16_t* sum;         ///< added to, unless null
  std::int16_t least;        ///< set: the least of `now`
};

/// Steps of semi-global matching, each along a path of its own.
void path_steps(std::span<PathStep> steps, std::int16_t small_step);

}  // namespace seamwright
