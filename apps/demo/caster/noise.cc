#include "apps/demo/caster/noise.h"

#include "apps/demo/caster/hash.h"

namespace seamwright::demo {
namespace {

float corner(int x, int y, std::uint32_t seed) {
  return static_cast<float>(static_cast<std::int32_t>(lattice_hash(x, y, seed))) * 0x1.0p-31F;
}

float ease(float t) { return t * t * (3.0F - 2.0F * t); }

}  // namespace

float value_noise(float u, float v, std::uint32_t seed) {
  const int iu = floor_int(u);
  const int iv = floor_int(v);
  const float s = ease(u - static_cast<float>(iu));
  const float t = ease(v - static_cast<float>(iv));
  const float a = corner(iu, iv, seed);
  const float b = corner(iu + 1, iv, seed);
  const float c = corner(iu, iv + 1, seed);
  const float d = corner(iu + 1, iv + 1, seed);
  const float top = a + (b - a) * s;
  const float bottom = c + (d - c) * s;
  return top + (bottom - top) * t;
}

float fractal_noise(float u, float v, const Octaves& octaves, float footprint_m,
                    std::uint32_t seed) {
  float frequency = octaves.frequency;
  float amplitude = 0.75F;
  float sum = 0;
  for (int i = 0; i < octaves.count; ++i) {
    const float kept = survives(frequency * octaves.stretch, footprint_m);
    if (kept <= 0.0F) {
      break;
    }
    const auto layer = seed + static_cast<std::uint32_t>(i) * 7919U;
    // Turning each octave a little hides the lattice.
    const float x = u * frequency + 0.37F * v * frequency;
    const float y = (v * octaves.stretch - 0.37F * u / octaves.stretch) * frequency;
    sum += amplitude * kept * value_noise(x, y, layer);
    amplitude *= octaves.gain;
    frequency *= 2.17F;
  }
  return sum;
}

}  // namespace seamwright::demo
