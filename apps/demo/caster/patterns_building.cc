#include "apps/demo/caster/hash.h"
#include "apps/demo/caster/noise.h"
#include "apps/demo/caster/patterns.h"

namespace seamwright::demo {
namespace {

/// Six-petalled flower: positive inside, in units of its radius.
float petals(float x, float y) {
  const float r2 = x * x + y * y + 1e-6F;
  // Re((x + iy)^6) / r^6 = cos 6φ.
  const float x3 = x * (x * x - 3.0F * y * y);
  const float y3 = y * (3.0F * x * x - y * y);
  const float cos6 = (x3 * x3 - y3 * y3) / (r2 * r2 * r2);
  return 0.75F + 0.25F * cos6 - std::sqrt(r2);
}

/// Distance to the nearest line of a grid of period 1, in periods.
float to_grid_line(float x) {
  const float f = fraction(x);
  return f < 0.5F ? f : 1.0F - f;
}

/// 1 on joints of half width `half_m` between cells of `cell_m`, filtered.
float joint(float x_in_cells, float cell_m, float half_m, float footprint) {
  return coverage(half_m - to_grid_line(x_in_cells) * cell_m, footprint);
}

}  // namespace

Rgb plaster_pattern(const Material& m, const FacePoint& p, std::uint32_t seed) {
  const float mottle =
      fractal_noise(p.tile_u, p.tile_v, {.frequency = 0.9F, .count = 3}, p.footprint, seed);
  const float trowel = fractal_noise(
      p.tile_u, p.tile_v, {.frequency = 14.0F, .count = 5, .gain = 0.85F}, p.footprint, seed + 11U);
  return m.base * (1.0F + m.contrast * (0.045F * mottle + 0.05F * trowel));
}

Rgb wallpaper_pattern(const Material& m, const FacePoint& p, std::uint32_t seed) {
  const float period = m.scale_m;
  const float column = p.tile_u / period;
  const int column_index = floor_int(column);
  // Half-drop repeat.
  const float row = p.tile_v / (1.4F * period) + ((column_index & 1) != 0 ? 0.5F : 0.0F);
  const float x = 2.0F * fraction(column) - 1.0F;
  const float y = 2.8F * fraction(row) - 1.4F;
  const float fp = p.footprint * 2.0F / period;
  const float flower = coverage(0.62F * petals(x / 0.62F, y / 0.62F), fp);
  const float heart = coverage(0.16F - std::sqrt(x * x + y * y), fp);
  const float stem_x = x - 0.25F * triangle(row + 0.25F);
  const float stem = coverage(0.05F - std::fabs(stem_x), fp) * (1.0F - flower);
  const float stripe = coverage(0.09F - std::fabs(std::fabs(x) - 1.0F), fp);
  Rgb colour = mix(m.base, m.second, 0.9F * larger(flower, stem));
  colour = mix(colour, m.third, larger(0.55F * stripe, heart));
  // Ageing: no two repeats are quite alike.
  const float age =
      fractal_noise(p.tile_u, p.tile_v, {.frequency = 1.1F, .count = 3}, p.footprint, seed);
  const float paper = fractal_noise(
      p.tile_u, p.tile_v, {.frequency = 23.0F, .count = 5, .gain = 0.9F}, p.footprint, seed + 5U);
  return colour * (1.0F + m.contrast * (0.1F * age + 0.07F * paper));
}

Rgb wood_grain(const Material& m, float u, float v, float footprint, std::uint32_t seed) {
  const float bend =
      value_noise(u * 0.8F, v * 4.0F, seed) + 0.5F * value_noise(u * 2.3F, v * 9.0F, seed + 1U);
  const float rings = survives(60.0F, footprint) * triangle(v * 28.0F + 1.6F * bend);
  const float fibre = fractal_noise(
      u, v, {.frequency = 7.0F, .count = 4, .gain = 0.9F, .stretch = 9.0F}, footprint, seed + 2U);
  const float broad = value_noise(u * 1.3F, v * 7.0F, seed + 3U);
  const float t = clamp01(0.5F + 0.2F * rings + 0.3F * broad + 0.32F * fibre);
  return mix(m.base, m.second, t);
}

Rgb planks_pattern(const Material& m, const FacePoint& p, std::uint32_t seed) {
  const float row = p.tile_v / m.scale_m;
  const int row_index = floor_int(row);
  const float length_m = 9.0F * m.scale_m;
  const float along = p.tile_u / length_m + lattice_unit(row_index, 1, seed);
  const int board = floor_int(along);
  const auto board_seed = lattice_hash(row_index, board, seed + 9U);
  const float tone = 0.78F + 0.4F * unit_float(board_seed);
  const float gap = larger(joint(row, m.scale_m, 0.0016F, p.footprint),
                           joint(along, length_m, 0.0016F, p.footprint));
  const Rgb wood = wood_grain(m, p.tile_u, p.tile_v, p.footprint, board_seed & 0xffffU) * tone;
  const float wear =
      fractal_noise(p.tile_u, p.tile_v, {.frequency = 1.3F, .count = 3}, p.footprint, seed + 3U);
  return wood * ((1.0F + 0.1F * wear) * (1.0F - 0.75F * gap));
}

Rgb tiles_pattern(const Material& m, const FacePoint& p, std::uint32_t seed) {
  const float x = p.tile_u / m.scale_m;
  const float y = p.tile_v / m.scale_m;
  const int ix = floor_int(x);
  const int iy = floor_int(y);
  const auto tile_seed = lattice_hash(ix, iy, seed);
  const Rgb ground = ((ix + iy) & 1) != 0 ? m.base : m.second;
  const float vein =
      fractal_noise(p.tile_u, p.tile_v, {.frequency = 5.0F, .count = 6, .gain = 0.8F}, p.footprint,
                    tile_seed & 0xffffU);
  const float ridge = 1.0F - 2.2F * std::fabs(vein);
  const float tone = 0.88F + 0.24F * unit_float(tile_seed);
  const float grout =
      larger(joint(x, m.scale_m, 0.0025F, p.footprint), joint(y, m.scale_m, 0.0025F, p.footprint));
  const Rgb face = ground * (tone * (1.0F + 0.16F * m.contrast * ridge));
  return mix(face, m.third, grout);
}

Rgb brick_pattern(const Material& m, const FacePoint& p, std::uint32_t seed) {
  const float course_m = 0.32F * m.scale_m;
  const float y = p.tile_v / course_m;
  const int course = floor_int(y);
  const float x = p.tile_u / m.scale_m + ((course & 1) != 0 ? 0.5F : 0.0F);
  const auto brick_seed = lattice_hash(floor_int(x), course, seed);
  const float tone = 0.7F + 0.55F * unit_float(brick_seed);
  const float rough = fractal_noise(
      p.tile_u, p.tile_v, {.frequency = 9.0F, .count = 5, .gain = 0.85F}, p.footprint, seed + 3U);
  const float weather = fractal_noise(
      p.tile_u, p.tile_v, {.frequency = 0.21F, .count = 4, .gain = 0.8F}, p.footprint, seed + 4U);
  const float mortar =
      larger(joint(x, m.scale_m, 0.0055F, p.footprint), joint(y, course_m, 0.0055F, p.footprint));
  const Rgb brick = mix(m.base, m.second, unit_float(brick_seed * 2654435761U)) * tone;
  return mix(brick, m.third, mortar) * (1.0F + 0.16F * rough + 0.2F * weather);
}

Rgb cobbles_pattern(const Material& m, const FacePoint& p, std::uint32_t seed) {
  const float x = p.tile_u / m.scale_m;
  const float y = p.tile_v / m.scale_m;
  const int ix = floor_int(x);
  const int iy = floor_int(y);
  float nearest = 9;
  float next = 9;
  std::uint32_t stone = 0;
  for (int dy = -1; dy <= 1; ++dy) {
    for (int dx = -1; dx <= 1; ++dx) {
      const auto h = lattice_hash(ix + dx, iy + dy, seed);
      const float ex = static_cast<float>(ix + dx) + 0.2F + 0.6F * unit_float(h) - x;
      const float ey = static_cast<float>(iy + dy) + 0.2F + 0.6F * unit_float(h * 2654435761U) - y;
      const float d = std::sqrt(ex * ex + ey * ey);
      if (d < nearest) {
        next = nearest;
        nearest = d;
        stone = h;
      } else {
        next = smaller(next, d);
      }
    }
  }
  const float detail = survives(1.0F / m.scale_m, p.footprint);
  const float gap = detail * coverage((0.11F - (next - nearest)) * m.scale_m, p.footprint);
  const float tone = 1.0F + detail * (0.5F * unit_float(stone ^ 0x55aaU) - 0.25F);
  const float dome = 1.0F - 0.35F * detail * nearest * nearest;
  const float grit = fractal_noise(
      p.tile_u, p.tile_v, {.frequency = 12.0F, .count = 5, .gain = 0.85F}, p.footprint, seed + 3U);
  const float wear = fractal_noise(
      p.tile_u, p.tile_v, {.frequency = 0.13F, .count = 5, .gain = 0.8F}, p.footprint, seed + 4U);
  const Rgb face = mix(m.base, m.second, unit_float(stone * 747796405U)) * (tone * dome);
  return mix(face, m.third, gap) * (1.0F + 0.14F * grit + 0.3F * wear);
}

Rgb grass_pattern(const Material& m, const FacePoint& p, std::uint32_t seed) {
  const float t = fractal_noise(p.tile_u, p.tile_v, {.frequency = 0.08F, .count = 9, .gain = 0.9F},
                                p.footprint, seed);
  return mix(m.base, m.second, clamp01(0.5F + 0.4F * t));
}

Rgb facade_pattern(const Material& m, const FacePoint& p, std::uint32_t seed) {
  // Bays as wide as scale_m, storeys 3 m high, counted from the top of the wall.
  const float bays = larger(1.0F, static_cast<float>(floor_int(p.width / m.scale_m)));
  const float bay_m = p.width / bays;
  const float x = (fraction(p.u / bay_m) - 0.5F) * bay_m;
  const float y = (fraction((p.v - 0.4F) / 3.0F) - 0.45F) * 3.0F;
  const auto window = lattice_hash(floor_int(p.u / bay_m), floor_int((p.v - 0.4F) / 3.0F), seed);
  const bool row_fits = p.v > 0.4F && p.v < p.height - 0.6F;
  const float half_w = 0.5F;
  const float half_h = 0.75F;
  const auto box = [&](float dx, float w, float h) {
    return coverage(smaller(w - std::fabs(dx), h - std::fabs(y)), p.footprint);
  };
  Rgb wall = plaster_pattern(m, p, seed) *
             (1.0F + 0.16F * fractal_noise(p.tile_u, p.tile_v,
                                           {.frequency = 0.4F, .count = 7, .gain = 0.85F},
                                           p.footprint, seed + 8U));
  if (!row_fits) {
    return wall;
  }
  wall = mix(wall, m.third, box(x, half_w + 0.12F, half_h + 0.12F));
  const float shutters = box(std::fabs(x) - half_w - 0.42F, 0.27F, half_h + 0.04F);
  const float slats = 0.82F + 0.18F * survives(12.0F, p.footprint) * triangle(y * 12.0F);
  wall = mix(wall, m.second * slats, shutters);
  const Rgb reflected = mix(Rgb{0.05F, 0.06F, 0.08F}, Rgb{0.22F, 0.27F, 0.33F},
                            clamp01(0.5F - 0.4F * y + 0.5F * unit_float(window) - 0.25F));
  const float bars = larger(coverage(0.03F - std::fabs(x), p.footprint),
                            coverage(0.03F - std::fabs(y + 0.2F), p.footprint));
  return mix(wall, mix(reflected, m.third, bars), box(x, half_w, half_h));
}

Rgb roof_pattern(const Material& m, const FacePoint& p, std::uint32_t seed) {
  const float row = p.v / m.scale_m;
  const int row_index = floor_int(row);
  const float column = p.u / (0.7F * m.scale_m) + ((row_index & 1) != 0 ? 0.5F : 0.0F);
  const auto tile = lattice_hash(floor_int(column), row_index, seed);
  const float detail = survives(1.0F / m.scale_m, p.footprint);
  const float shade = 1.0F - detail * 0.45F * fraction(row) * fraction(row);
  const float moss = fractal_noise(p.u, p.v, {.frequency = 0.25F, .count = 7, .gain = 0.85F},
                                   p.footprint, seed + 2U);
  const Rgb clay = mix(m.base, m.second, detail * unit_float(tile) + (1.0F - detail) * 0.5F);
  return clay * (shade * (1.0F + 0.3F * moss));
}

}  // namespace seamwright::demo
