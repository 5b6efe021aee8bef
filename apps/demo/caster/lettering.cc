#include "apps/demo/caster/lettering.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "apps/demo/caster/float3.h"
#include "apps/demo/caster/noise.h"

namespace seamwright::demo {
namespace {

/// Strokes of a glyph: points "xy" joined by lines, strokes parted by '/'.
struct Glyph {
  char letter;
  std::string_view strokes;
};

constexpr std::array kGlyphs = {
    Glyph{'A', "062046/1434"},
    Glyph{'B', "06003041423303/3344453606"},
    Glyph{'C', "4130100105163645"},
    Glyph{'D', "00062645412000"},
    Glyph{'E', "40000646/0333"},
    Glyph{'F', "400006/0333"},
    Glyph{'G', "41301001051636454323"},
    Glyph{'H', "0006/4046/0343"},
    Glyph{'I', "2026/1030/1636"},
    Glyph{'J', "4045361605"},
    Glyph{'K', "0006/400346"},
    Glyph{'L', "000646"},
    Glyph{'M', "0600234046"},
    Glyph{'N', "06004640"},
    Glyph{'O', "103041453616050110"},
    Glyph{'P', "06003041423303"},
    Glyph{'Q', "103041453616050110/2446"},
    Glyph{'R', "06003041423303/2346"},
    Glyph{'S', "413010010213334445361605"},
    Glyph{'T', "0040/2026"},
    Glyph{'U', "000516364540"},
    Glyph{'V', "002640"},
    Glyph{'W', "0016233640"},
    Glyph{'X', "0046/4006"},
    Glyph{'Y', "002340/2326"},
    Glyph{'Z', "00400646"},
    Glyph{'0', "103041453616050110/3115"},
    Glyph{'1', "112026/1636"},
    Glyph{'2', "01103041420646"},
    Glyph{'3', "0110304142334445361605/2333"},
    Glyph{'4', "36300444"},
    Glyph{'5', "400003334445361605"},
    Glyph{'6', "413010010516364544331304"},
    Glyph{'7', "004016"},
    Glyph{'8', "13020110304142331304051636454433"},
    Glyph{'9', "051636454130100102133342"},
    Glyph{'-', "1333"},
    Glyph{'.', "2526"},
    Glyph{',', "2517"},
    Glyph{':', "2122/2526"},
    Glyph{'/', "0640"},
    Glyph{'+', "1333/2224"},
};

std::string_view strokes_of(char letter) {
  const auto* const glyph = std::find_if(kGlyphs.begin(), kGlyphs.end(),
                                         [&](const Glyph& g) { return g.letter == letter; });
  return glyph == kGlyphs.end() ? std::string_view{} : glyph->strokes;
}

float distance2_to_segment(float x, float y, float ax, float ay, float bx, float by) {
  const float dx = bx - ax;
  const float dy = by - ay;
  const float t = clamp01(((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy));
  const float ex = x - ax - t * dx;
  const float ey = y - ay - t * dy;
  return ex * ex + ey * ey;
}

float distance_to_glyph(std::string_view strokes, float x, float y) {
  float nearest = 1e9F;
  for (std::size_t i = 0; i + 3 < strokes.size();) {
    if (strokes[i + 2] == '/') {
      i += 3;
      continue;
    }
    const auto at = [&](std::size_t k) { return static_cast<float>(strokes[k] - '0'); };
    nearest = smaller(nearest, distance2_to_segment(x, y, at(i), at(i + 1), at(i + 2), at(i + 3)));
    i += 2;
  }
  return std::sqrt(nearest);
}

}  // namespace

float text_width(std::string_view line) {
  return static_cast<float>(line.size()) * kGlyphAdvance - (kGlyphAdvance - 4.0F);
}

float text_ink(std::string_view line, float x, float y, float half_stroke, float footprint) {
  if (y < -1.0F || y > kGlyphHeight + 1.5F) {
    return 0;
  }
  const int index = floor_int((x + 0.5F * (kGlyphAdvance - 4.0F)) / kGlyphAdvance);
  if (index < 0 || index >= static_cast<int>(line.size())) {
    return 0;
  }
  const std::string_view strokes = strokes_of(line[static_cast<std::size_t>(index)]);
  const float local_x = x - static_cast<float>(index) * kGlyphAdvance;
  return coverage(half_stroke - distance_to_glyph(strokes, local_x, y), footprint);
}

float label_ink(std::string_view lines, float u, float v, float width_m, float height_m,
                float footprint_m) {
  const auto line_count = 1 + std::count(lines.begin(), lines.end(), '\n');
  const float line_height_m = height_m / static_cast<float>(line_count);
  const int wanted = floor_int(v / line_height_m);
  if (wanted < 0 || wanted >= line_count) {
    return 0;
  }
  for (int skipped = 0; skipped < wanted; ++skipped) {
    lines.remove_prefix(lines.find('\n') + 1);
  }
  const std::string_view line = lines.substr(0, lines.find('\n'));
  const float unit_m =
      smaller(line_height_m / (kGlyphHeight * 1.5F), width_m / (text_width(line) + 2.0F));
  const float x = (u - 0.5F * width_m) / unit_m + 0.5F * text_width(line);
  const float y =
      (v - (static_cast<float>(wanted) + 0.5F) * line_height_m) / unit_m + 0.5F * kGlyphHeight;
  return text_ink(line, x, y, 0.42F, footprint_m / unit_m);
}

}  // namespace seamwright::demo
