#pragma once

// The inner loops of match_cost.h and cost_aggregation.h. Plain loops, compiled for every
// instruction set that a machine may have (Highway's dispatch); whole numbers, or single floats in
// one order without fused multiply-add: the same bits everywhere.

#include <array>
#include <cstddef>
#include <cstdint>

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

/// One step of semi-global matching along a path: the costs `now` of the best ways to every label,
/// from those of the pixel before, whose least is `base`. `before` is readable one label beyond
/// both ends. Adds `now` to `sum` unless that is null. Returns the least of `now`.
std::int16_t path_step(const std::int16_t* before, const std::uint8_t* cost, std::int16_t base,
                       std::int16_t small_step, std::int16_t large_step, std::size_t labels,
                       std::int16_t* now, std::int16_t* sum);

}  // namespace seamwright
