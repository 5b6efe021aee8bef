#pragma once

// Band-limited value noise for textures: octaves finer than what a sample covers are faded out, so
// that a surface shows detail down to the pixel and none beyond.

#include <cstdint>

namespace seamwright::demo {

inline int floor_int(float x) {
  const int i = static_cast<int>(x);
  return i - (x < static_cast<float>(i) ? 1 : 0);
}
inline float fraction(float x) { return x - static_cast<float>(floor_int(x)); }

/// −1…1, smooth, lattice spacing 1.
float value_noise(float u, float v, std::uint32_t seed);

/// How strongly a pattern of `frequency` (cycles per metre) survives a sample that covers
/// `footprint_m`: 1 when coarse, 0 from half a cycle a sample on.
inline float survives(float frequency, float footprint_m) {
  const float cycles = frequency * footprint_m;
  return cycles <= 0.25F ? 1.0F : (cycles >= 0.5F ? 0.0F : 2.0F - 4.0F * cycles);
}

struct Octaves {
  float frequency = 1;  ///< of the coarsest, 1/m
  int count = 4;
  float gain = 0.7F;  ///< amplitude from one octave to the next
  float stretch = 1;  ///< v is this many times finer than u
};

/// Sum of octaves, each 2.17 times finer than the one before; about −1…1.
float fractal_noise(float u, float v, const Octaves& octaves, float footprint_m,
                    std::uint32_t seed);

/// Share of a sample of width `footprint_m` at signed distance `inside_m` from an edge that lies
/// inside: a box-filtered step.
inline float coverage(float inside_m, float footprint_m) {
  const float share = 0.5F + inside_m / (footprint_m + 1e-6F);
  return share < 0.0F ? 0.0F : (share > 1.0F ? 1.0F : share);
}

/// Triangle wave −1…1 with period 1: a cheap stand-in for a sine.
inline float triangle(float x) {
  const float f = fraction(x);
  return f < 0.5F ? 4.0F * f - 1.0F : 3.0F - 4.0F * f;
}

}  // namespace seamwright::demo
