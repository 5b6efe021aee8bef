#include <array>
#include <string_view>

#include "apps/demo/caster/hash.h"
#include "apps/demo/caster/lettering.h"
#include "apps/demo/caster/noise.h"
#include "apps/demo/caster/patterns.h"

namespace seamwright::demo {
namespace {

constexpr std::array<Rgb, 12> kBindings = {{{0.35F, 0.06F, 0.05F},
                                            {0.05F, 0.13F, 0.25F},
                                            {0.06F, 0.2F, 0.1F},
                                            {0.45F, 0.3F, 0.12F},
                                            {0.55F, 0.5F, 0.4F},
                                            {0.12F, 0.1F, 0.09F},
                                            {0.4F, 0.17F, 0.06F},
                                            {0.2F, 0.08F, 0.2F},
                                            {0.6F, 0.45F, 0.1F},
                                            {0.1F, 0.3F, 0.32F},
                                            {0.65F, 0.62F, 0.55F},
                                            {0.3F, 0.28F, 0.3F}}};

constexpr std::array<std::string_view, 24> kTitles = {
    "THE HARBOUR",   "NORTHERN BIRDS",  "ALMANAC 1904", "SALT AND SNOW", "A LONG WINTER",
    "RIVERS VOL. 2", "CLOCKWORK",       "THE ORCHARD",  "TIDES",         "LAMP MAKERS",
    "GRAMMAR",       "ATLAS III",       "MOSSES",       "ON FERRIES",    "QUIET HOURS",
    "KITCHEN NOTES", "ODD TALES",       "THE WEAVER",   "LETTERS 7-12",  "VALLEY PATHS",
    "BEES",          "WINDOW AND WALL", "RAIN",         "JOURNEY EAST"};

constexpr Rgb kGold = {0.72F, 0.52F, 0.2F};
constexpr Rgb kInk = {0.06F, 0.055F, 0.05F};

struct Book {
  float x = 0;      ///< −1…1 across the spine
  float width = 0;  ///< metres
  std::uint32_t seed = 0;
};

/// Spines lie on an even grid with jittered borders.
Book book_at(float u, float mean_m, std::uint32_t seed) {
  const auto border = [&](int i) {
    return (static_cast<float>(i) + 0.7F * (lattice_unit(i, 3, seed) - 0.5F)) * mean_m;
  };
  int i = floor_int(u / mean_m);
  if (u < border(i)) {
    --i;
  } else if (u >= border(i + 1)) {
    ++i;
  }
  const float left = border(i);
  const float width = border(i + 1) - left;
  return {2.0F * (u - left) / width - 1.0F, width, lattice_hash(i, 5, seed)};
}

Rgb spine_colour(const Book& book, float from_bottom, float tall, float footprint) {
  const Rgb cloth =
      kBindings[book.seed % kBindings.size()] * (0.8F + 0.5F * unit_float(book.seed * 747796405U));
  const bool bright = cloth.y > 0.3F;
  const Rgb print = bright ? kInk : kGold;
  const float depth = tall - from_bottom;
  float ink = 0;
  if ((book.seed & 0x300U) != 0U) {
    // Title down the spine: read with the head tilted to the right.
    const std::string_view title = kTitles[(book.seed >> 12U) % kTitles.size()];
    const float unit = smaller(0.085F * book.width, 0.6F * tall / text_width(title));
    const float along = (depth - 0.5F * tall) / unit + 0.5F * text_width(title);
    const float down = -0.5F * book.x * book.width / unit + 0.5F * kGlyphHeight;
    ink = text_ink(title, along, down, 0.45F, footprint / unit);
  }
  const float bands =
      coverage(0.003F - std::fabs(std::fabs(depth - 0.5F * tall) - 0.38F * tall), footprint);
  return mix(cloth, print, larger(ink, bands));
}

Rgb landscape(float x, float y, float fp, std::uint32_t seed) {
  const float warm = unit_float(seed * 31U + 7U);
  Rgb colour = mix(mix(Rgb{0.25F, 0.42F, 0.62F}, Rgb{0.7F, 0.35F, 0.2F}, warm),
                   Rgb{0.85F, 0.75F, 0.55F}, clamp01(y * 1.6F));
  const float cloud =
      fractal_noise(x * 2.0F, y * 5.0F, {.frequency = 1.5F, .count = 6, .gain = 0.8F}, fp, seed);
  colour = mix(colour, Rgb{0.9F, 0.88F, 0.84F}, clamp01(cloud));
  const float sun =
      std::sqrt((x - 0.3F - 0.5F * warm) * (x - 0.3F - 0.5F * warm) + (y - 0.25F) * (y - 0.25F));
  colour = mix(colour, Rgb{0.95F, 0.85F, 0.5F}, coverage(0.07F - sun, fp));
  for (int layer = 0; layer < 4; ++layer) {
    const auto layer_f = static_cast<float>(layer);
    const auto layer_seed = seed + 17U * static_cast<std::uint32_t>(layer + 1);
    const float crest =
        0.42F + 0.13F * layer_f +
        0.14F * fractal_noise(x, layer_f, {.frequency = 2.0F, .count = 5, .gain = 0.6F}, fp,
                              layer_seed);
    const float dabs =
        fractal_noise(x, y, {.frequency = 9.0F, .count = 4, .gain = 0.8F}, fp, layer_seed + 3U);
    const Rgb hill = mix(Rgb{0.35F, 0.45F, 0.5F}, Rgb{0.12F + 0.2F * warm, 0.2F, 0.07F},
                         (layer_f + 1.0F) / 4.0F) *
                     (1.0F + 0.45F * dabs);
    colour = mix(colour, hill, coverage(y - crest, fp));
  }
  return colour;
}

Rgb composition(float x, float y, float fp, std::uint32_t seed) {
  Rgb colour = kBindings[(seed >> 3U) % kBindings.size()] * 1.3F;
  for (int i = 0; i < 7; ++i) {
    const auto h = lattice_hash(i, 77, seed);
    const float cx = unit_float(h);
    const float cy = unit_float(h * 2654435761U);
    const float size = 0.06F + 0.2F * unit_float(h * 747796405U);
    const float dx = std::fabs(x - cx);
    const float dy = std::fabs(y - cy);
    const float inside =
        (h & 1U) != 0U ? size - std::sqrt(dx * dx + dy * dy) : size - larger(dx, 1.6F * dy);
    colour = mix(colour, kBindings[(h >> 5U) % kBindings.size()] * 1.4F, coverage(inside, fp));
  }
  const float brush =
      fractal_noise(x, y, {.frequency = 7.0F, .count = 6, .gain = 0.85F}, fp, seed + 3U);
  return colour * (1.0F + 0.28F * brush);
}

}  // namespace

Rgb books_pattern(const Material& m, const FacePoint& p, std::uint32_t seed) {
  const Book book = book_at(p.u, m.scale_m, seed);
  const float from_bottom = p.height - p.v;
  const float tall = p.height * (0.66F + 0.26F * unit_float(book.seed * 2654435761U));
  const Rgb gap = {0.02F, 0.016F, 0.012F};
  if ((book.seed & 0xf000U) == 0U) {
    return gap;  // a missing book
  }
  const float inside =
      smaller(tall - from_bottom, 0.5F * (1.0F - std::fabs(book.x)) * book.width - 0.001F);
  const float round = 1.0F - 0.45F * book.x * book.x;
  const float wear =
      fractal_noise(p.u, p.v, {.frequency = 25.0F, .count = 5, .gain = 0.85F}, p.footprint, seed);
  const Rgb spine =
      spine_colour(book, from_bottom, tall, p.footprint) * (round * (1.0F + 0.18F * wear));
  return mix(gap, spine, coverage(inside, p.footprint));
}

Rgb painting_pattern(const Material& m, const FacePoint& p, std::uint32_t seed) {
  const float mount = m.scale_m;  // passe-partout
  const float edge = smaller(smaller(p.u, p.width - p.u), smaller(p.v, p.height - p.v));
  const float side = larger(p.width, p.height);
  const float x = p.u / side;
  const float y = p.v / p.height;
  const float fp = p.footprint / side;
  const Rgb picture =
      (seed & 1U) != 0U ? landscape(x, y, fp, seed) : composition(x, p.v / side, fp, seed);
  const Rgb board =
      m.base *
      (1.0F + 0.04F * fractal_noise(p.u, p.v, {.frequency = 30.0F, .count = 4}, p.footprint, seed));
  const float bevel = coverage(0.004F - std::fabs(edge - mount), p.footprint);
  return mix(mix(board, picture, coverage(edge - mount, p.footprint)), m.second, bevel);
}

Rgb sign_pattern(const Material& m, const FacePoint& p, std::uint32_t seed) {
  const float edge = smaller(smaller(p.u, p.width - p.u), smaller(p.v, p.height - p.v));
  const float inset = 0.06F * smaller(p.width, p.height);
  const float border = coverage(0.25F * inset - std::fabs(edge - inset), p.footprint);
  const float ink = label_ink(m.text, p.u - 2.0F * inset, p.v - 1.5F * inset,
                              p.width - 4.0F * inset, p.height - 3.0F * inset, p.footprint);
  const float wear =
      fractal_noise(p.u, p.v, {.frequency = 8.0F, .count = 6, .gain = 0.85F}, p.footprint, seed);
  return mix(m.base, m.second, larger(border, ink)) * (1.0F + 0.09F * wear);
}

Rgb notice_pattern(const Material& m, const FacePoint& p, std::uint32_t seed) {
  const float margin = 0.08F * p.width;
  const float heading_m = 0.2F * p.height;
  float ink = label_ink(m.text, p.u - margin, p.v - 0.3F * margin, p.width - 2.0F * margin,
                        heading_m, p.footprint);
  const float line_m = m.scale_m;
  const float below = p.v - heading_m - margin;
  const int line = floor_int(below / line_m);
  const float across = p.u - margin;
  const float line_end = (p.width - 2.0F * margin) * (0.7F + 0.3F * lattice_unit(line, 2, seed));
  if (below > 0.0F && below < p.height - heading_m - 2.0F * margin && across > 0.0F &&
      across < line_end) {
    const float unit = line_m / 10.0F;
    const int column = floor_int(across / (unit * kGlyphAdvance));
    const auto h = lattice_hash(column, line, seed);
    const char letter = static_cast<char>('A' + static_cast<char>(h % 26U));
    if (h % 6U != 0U) {
      const float x = across / unit - static_cast<float>(column) * kGlyphAdvance;
      ink = larger(ink, 0.85F * text_ink({&letter, 1}, x - 0.5F,
                                         below / unit - static_cast<float>(line) * 10.0F - 1.0F,
                                         0.5F, p.footprint / unit));
    }
  }
  const float paper =
      fractal_noise(p.u, p.v, {.frequency = 6.0F, .count = 6, .gain = 0.8F}, p.footprint, seed);
  return mix(m.base, m.second, ink) * (1.0F + 0.05F * paper);
}

Rgb panelled_door_pattern(const Material& m, const FacePoint& p, std::uint32_t seed) {
  // Two columns and three rows of sunk panels.
  const float x = fraction(2.0F * p.u / p.width);
  const float y = fraction(3.0F * p.v / p.height);
  const float cell_w = 0.5F * p.width;
  const float cell_h = p.height / 3.0F;
  const float dx = smaller(x, 1.0F - x) * cell_w - 0.16F * cell_w;
  const float dy = smaller(y, 1.0F - y) * cell_h - 0.12F * cell_h;
  const float inside = smaller(dx, dy);
  const float moulding = coverage(0.009F - std::fabs(inside), p.footprint);
  // The upper and left mouldings lie in shadow, the others catch light.
  const bool shaded = (dx < dy) ? x < 0.5F : y < 0.5F;
  const Rgb wood = wood_grain(m, p.v, p.u, p.footprint, seed);
  return mix(wood * (inside > 0.0F ? 0.93F : 1.0F), wood * (shaded ? 0.45F : 1.45F), moulding);
}

Rgb clock_face_pattern(const Material& m, const FacePoint& p, std::uint32_t seed) {
  const float radius = 0.5F * smaller(p.width, p.height);
  const float x = (p.u - 0.5F * p.width) / radius;
  const float y = (p.v - 0.5F * p.height) / radius;
  const float fp = p.footprint / radius;
  const float r = std::sqrt(x * x + y * y);
  float ink = coverage(0.015F - std::fabs(r - 0.93F), fp);
  static constexpr std::array<std::string_view, 12> kHours = {"12", "1", "2", "3", "4",  "5",
                                                              "6",  "7", "8", "9", "10", "11"};
  static constexpr std::array<float, 12> kSin = {0, 0.5F,  0.8660254F,  1,  0.8660254F,  0.5F,
                                                 0, -0.5F, -0.8660254F, -1, -0.8660254F, -0.5F};
  constexpr float kUnit = 0.028F;
  for (std::size_t hour = 0; hour < 12; ++hour) {
    const float cx = 0.74F * kSin[hour];
    const float cy = -0.74F * kSin[(hour + 3) % 12];
    const float left = (x - cx) / kUnit + 0.5F * text_width(kHours[hour]);
    ink = larger(ink, text_ink(kHours[hour], left, (y - cy) / kUnit + 0.5F * kGlyphHeight, 0.5F,
                               fp / kUnit));
  }
  const auto hand = [&](float dx, float dy, float reach, float half) {
    const float along = x * dx + y * dy;
    const float off = std::fabs(x * dy - y * dx);
    return along > -0.08F && along < reach ? coverage(half - off, fp) : 0.0F;
  };
  ink = larger(ink, larger(hand(0.64F, -0.768F, 0.42F, 0.035F), hand(-0.6F, 0.8F, 0.62F, 0.025F)));
  const float age = fractal_noise(p.u, p.v, {.frequency = 14.0F, .count = 5}, p.footprint, seed);
  const Rgb face = mix(m.base, m.second, ink) * (1.0F + 0.06F * age);
  return mix(m.third, face, coverage(0.97F - r, fp));
}

Rgb key_rack_pattern(const Material& m, const FacePoint& p, std::uint32_t seed) {
  constexpr int kColumns = 4;
  const float cell = p.width / kColumns;
  const int column = floor_int(p.u / cell);
  const int row = floor_int(p.v / cell);
  const int number = 1 + column + kColumns * row;
  const float x = p.u - static_cast<float>(column) * cell;
  const float y = p.v - static_cast<float>(row) * cell;
  Rgb colour = wood_grain(m, p.u, p.v, p.footprint, seed);
  std::array<char, 2> digits = {static_cast<char>('0' + number / 10),
                                static_cast<char>('0' + number % 10)};
  const std::string_view label(number < 10 ? &digits[1] : digits.data(), number < 10 ? 1 : 2);
  const float plate = coverage(
      smaller(0.3F * cell - std::fabs(x - 0.5F * cell), 0.14F * cell - std::fabs(y - 0.2F * cell)),
      p.footprint);
  const float ink =
      label_ink(label, x - 0.2F * cell, y - 0.06F * cell, 0.6F * cell, 0.28F * cell, p.footprint);
  colour = mix(colour, mix(m.third, kInk, ink), plate);
  if (lattice_hash(column, row, seed) % 4U != 0U) {
    // A key on its hook: a ring, a shaft, a bit.
    const float dx = x - 0.5F * cell;
    const float ring =
        0.028F * cell -
        std::fabs(std::sqrt(dx * dx + (y - 0.5F * cell) * (y - 0.5F * cell)) - 0.1F * cell);
    const float shaft =
        smaller(0.025F * cell - std::fabs(dx), 0.16F * cell - std::fabs(y - 0.75F * cell));
    const float bit = smaller(0.06F * cell - std::fabs(dx - 0.07F * cell),
                              0.03F * cell - std::fabs(y - 0.86F * cell));
    colour = mix(colour, kGold, coverage(larger(ring, larger(shaft, bit)), p.footprint));
  }
  const float divider =
      coverage(0.004F - smaller(smaller(x, cell - x), smaller(y, cell - y)), p.footprint);
  return mix(colour, m.second * 0.3F, divider);
}

}  // namespace seamwright::demo
