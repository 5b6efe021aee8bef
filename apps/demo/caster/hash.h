#pragma once

// Counter-based randomness: a value depends on what it is for, never on what was drawn before, so
// results are the same whatever the order or the thread count.

#include <cstdint>

namespace seamwright::demo {

/// SplitMix64's finaliser (Steele, Lea, Flood 2014).
constexpr std::uint64_t scramble(std::uint64_t x) {
  x += 0x9e3779b97f4a7c15ULL;
  x = (x ^ (x >> 30U)) * 0xbf58476d1ce4e5b9ULL;
  x = (x ^ (x >> 27U)) * 0x94d049bb133111ebULL;
  return x ^ (x >> 31U);
}

template <class... Rest>
constexpr std::uint64_t hash_of(std::uint64_t first, Rest... rest) {
  std::uint64_t h = scramble(first);
  ((h = scramble(h ^ static_cast<std::uint64_t>(rest))), ...);
  return h;
}

/// [0, 1) from the upper bits.
constexpr double unit_double(std::uint64_t h) { return static_cast<double>(h >> 11U) * 0x1.0p-53; }

/// Zero mean, unit variance: the sum of four uniforms of one hash (Irwin–Hall). Bell-shaped within
/// ±3.46, needs no transcendental function and so gives the same bits everywhere.
constexpr float bell(std::uint64_t h) {
  const auto sum = static_cast<std::int32_t>((h & 0xffffU) + ((h >> 16U) & 0xffffU) +
                                             ((h >> 32U) & 0xffffU) + (h >> 48U));
  // Variance of one 16-bit uniform is (2³² − 1) / 12, of four (2³² − 1) / 3.
  return static_cast<float>(sum - 131070) * 2.6428998e-5F;
}

/// 32-bit hash of a lattice point, for textures.
constexpr std::uint32_t lattice_hash(std::int32_t x, std::int32_t y, std::uint32_t seed) {
  std::uint32_t h = static_cast<std::uint32_t>(x) * 0x8da6b343U ^
                    static_cast<std::uint32_t>(y) * 0xd8163841U ^ seed * 0xcb1ab31fU;
  h ^= h >> 15U;
  h *= 0x2c1b3c6dU;
  h ^= h >> 12U;
  h *= 0x297a2d39U;
  return h ^ (h >> 15U);
}

/// [0, 1).
constexpr float unit_float(std::uint32_t h) { return static_cast<float>(h >> 8U) * 0x1.0p-24F; }
constexpr float lattice_unit(std::int32_t x, std::int32_t y, std::uint32_t seed) {
  return unit_float(lattice_hash(x, y, seed));
}

}  // namespace seamwright::demo
