#pragma once

// Logarithms and powers of two of single floats in straight lines, for loops that take millions of
// them: additions, multiplications and one division, so that compilers take many at a time and the
// bits are the same on every machine, which the C library's are not.

#include <bit>
#include <cstdint>

namespace seamwright {

/// log2 of a normal float above 0, within 2e-7 + 1e-7 of its size.
[[nodiscard]] inline float log2_of(float value) {
  // value = 2^exponent · m with m in [√½, √2), and log2 m = 2/ln 2 · artanh((m − 1)/(m + 1)), by
  // its series: what is left out is below 2e-9.
  constexpr std::int32_t kRootHalf = 0x3F3504F3;
  constexpr float kTwoLog2e = 2.8853900817779268F;
  const auto bits = std::bit_cast<std::int32_t>(value);
  const std::int32_t exponent = (bits - kRootHalf) >> 23;
  const auto m = std::bit_cast<float>(bits - exponent * (1 << 23));
  const float s = (m - 1) / (m + 1);
  const float q = s * s;
  const float series = 1 + q * (1.0F / 3 + q * (1.0F / 5 + q * (1.0F / 7 + q * (1.0F / 9))));
  return static_cast<float>(exponent) + kTwoLog2e * s * series;
}

/// 2^power for powers in −126…127, within 2e-7 of its size; 1 for 0.
[[nodiscard]] inline float exp2_of(float power) {
  // To the nearest whole power; the rest by the series of e^(x ln 2), of which less than 1e-9 is
  // left out.
  const auto whole = static_cast<std::int32_t>(power + (power < 0 ? -0.5F : 0.5F));
  const float x = 0.69314718055994531F * (power - static_cast<float>(whole));
  const float series =
      1 +
      x * (1 + x * (1.0F / 2 +
                    x * (1.0F / 6 + x * (1.0F / 24 + x * (1.0F / 120 +
                                                          x * (1.0F / 720 + x * (1.0F / 5040)))))));
  return series * std::bit_cast<float>((whole + 127) * (1 << 23));
}

}  // namespace seamwright
