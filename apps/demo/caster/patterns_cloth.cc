#include "apps/demo/caster/hash.h"
#include "apps/demo/caster/noise.h"
#include "apps/demo/caster/patterns.h"

namespace seamwright::demo {

Rgb wood_pattern(const Material& m, const FacePoint& p, std::uint32_t seed) {
  const bool across = m.grain_across || p.height > 1.6F * p.width;
  const float u = across ? p.v : p.u;
  const float v = across ? p.u : p.v;
  const float edge = smaller(smaller(p.u, p.width - p.u), smaller(p.v, p.height - p.v));
  // A worn, lighter arris along the edges.
  const float arris = 0.3F * coverage(0.003F - edge, p.footprint);
  return mix(wood_grain(m, u, v, p.footprint, seed), m.second * 1.3F, arris);
}

Rgb metal_pattern(const Material& m, const FacePoint& p, std::uint32_t seed) {
  const float brushed = fractal_noise(
      p.u, p.v, {.frequency = 10.0F, .count = 4, .gain = 0.8F, .stretch = 6.0F}, p.footprint, seed);
  const float spots =
      fractal_noise(p.u, p.v, {.frequency = 6.0F, .count = 5}, p.footprint, seed + 1U);
  return m.base * (1.0F + m.contrast * (0.12F * brushed + 0.1F * spots));
}

Rgb fabric_pattern(const Material& m, const FacePoint& p, std::uint32_t seed) {
  // Two sets of stripes, woven: half tone where only one set is coloured.
  const float x = p.u / m.scale_m;
  const float y = p.v / m.scale_m;
  const float fp = p.footprint / m.scale_m;
  const auto stripe = [&](float s) { return coverage(0.25F - std::fabs(fraction(s) - 0.5F), fp); };
  const float dyed = 0.5F * (stripe(x) + stripe(y));
  const float weave =
      survives(500.0F, p.footprint) * 0.1F * triangle(p.u * 500.0F) * triangle(p.v * 500.0F);
  const float slubs = fractal_noise(
      p.u, p.v, {.frequency = 11.0F, .count = 6, .gain = 0.9F, .stretch = 2.5F}, p.footprint, seed);
  const float folds =
      fractal_noise(p.u, p.v, {.frequency = 2.0F, .count = 2}, p.footprint, seed + 3U);
  return mix(m.base, m.second, dyed) * (1.0F + weave + m.contrast * (0.11F * slubs + 0.1F * folds));
}

Rgb rug_pattern(const Material& m, const FacePoint& p, std::uint32_t seed) {
  const float edge = smaller(smaller(p.u, p.width - p.u), smaller(p.v, p.height - p.v));
  const float x = p.u - 0.5F * p.width;
  const float y = p.v - 0.5F * p.height;
  const float fp = p.footprint;
  // Field of lozenges, each with its own heart.
  const float period = m.scale_m;
  const float a = (x + y) / period;
  const float b = (x - y) / period;
  const auto lozenge = lattice_hash(floor_int(a), floor_int(b), seed);
  const float da = std::fabs(fraction(a) - 0.5F);
  const float db = std::fabs(fraction(b) - 0.5F);
  const float inner = coverage((0.36F - larger(da, db)) * period, fp);
  const float heart = coverage((0.14F + 0.1F * unit_float(lozenge) - larger(da, db)) * period, fp);
  Rgb colour = mix(m.base, m.second, inner);
  colour = mix(colour, unit_float(lozenge * 747796405U) < 0.5F ? m.third : m.base, heart);
  // Border: a line, a band of steps, a line.
  const float band = coverage(0.22F - edge, fp);
  const float steps = coverage(0.05F * triangle((p.u + p.v) / 0.12F) + 0.03F, fp);
  colour = mix(colour, mix(m.third, m.base, steps), band);
  colour = mix(colour, m.second, coverage(0.012F - std::fabs(edge - 0.22F), fp));
  colour = mix(colour, m.second, coverage(0.02F - std::fabs(edge - 0.04F), fp));
  const float pile =
      fractal_noise(p.u, p.v, {.frequency = 9.0F, .count = 6, .gain = 0.95F}, fp, seed + 1U);
  const float wear = fractal_noise(p.u, p.v, {.frequency = 1.1F, .count = 3}, fp, seed + 2U);
  return colour * (1.0F + 0.16F * pile + 0.14F * wear);
}

Rgb curtain_pattern(const Material& m, const FacePoint& p, std::uint32_t seed) {
  const float warp = 0.35F * value_noise(p.u * 3.0F, p.v * 0.7F, seed);
  const float fold = triangle(p.u / m.scale_m + warp);
  const float fine = triangle(2.6F * p.u / m.scale_m + 2.0F * warp);
  const float thread = fractal_noise(p.u, p.v, {.frequency = 20.0F, .count = 5, .gain = 0.9F},
                                     p.footprint, seed + 1U);
  const float band = coverage(0.03F - std::fabs(p.height - p.v - 0.15F), p.footprint);
  return mix(m.base, m.second, 0.8F * band) * (0.85F + 0.17F * fold + 0.07F * fine + 0.1F * thread);
}

Rgb leaves_pattern(const Material& m, const FacePoint& p, std::uint32_t seed) {
  const float clump = fractal_noise(
      p.u, p.v, {.frequency = 1.2F / m.scale_m, .count = 7, .gain = 0.95F}, p.footprint, seed);
  const float hue = value_noise(p.u * 3.0F / m.scale_m, p.v * 3.0F / m.scale_m, seed + 9U);
  return mix(mix(m.base, m.third, 0.5F + 0.5F * hue), m.second, clamp01(0.42F + 0.55F * clump));
}

}  // namespace seamwright::demo
