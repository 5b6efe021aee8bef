#include "apps/report/svg.h"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

#include "apps/report/markup.h"

namespace seamwright::report {

std::string viridis(double t) {
  // Ten anchors of the published map, from memory; linear between.
  static constexpr std::array<std::array<int, 3>, 10> kAnchors = {{{0x44, 0x01, 0x54},
                                                                   {0x48, 0x28, 0x78},
                                                                   {0x3e, 0x49, 0x89},
                                                                   {0x31, 0x68, 0x8e},
                                                                   {0x26, 0x82, 0x8e},
                                                                   {0x1f, 0x9e, 0x89},
                                                                   {0x35, 0xb7, 0x79},
                                                                   {0x6e, 0xce, 0x58},
                                                                   {0xb5, 0xde, 0x2b},
                                                                   {0xfd, 0xe7, 0x25}}};
  const double at = std::clamp(t, 0.0, 1.0) * (kAnchors.size() - 1);
  const auto low = std::min(static_cast<std::size_t>(at), kAnchors.size() - 2);
  const double part = at - static_cast<double>(low);
  std::array<long, 3> mixed{};
  for (std::size_t c = 0; c < 3; ++c) {
    mixed[c] = std::lround(kAnchors[low][c] * (1 - part) + kAnchors[low + 1][c] * part);
  }
  return fmt::format("#{:02x}{:02x}{:02x}", mixed[0], mixed[1], mixed[2]);
}

Svg::Svg(double width, double height, std::string_view told)
    : head_(fmt::format("<svg viewBox=\"0 0 {:g} {:g}\" role=\"img\" aria-label=\"{}\">\n", width,
                        height, escaped(told))) {}

void Svg::line(const Vec2& from, const Vec2& to, std::string_view style) {
  body_ +=
      fmt::format("<line x1=\"{:.1f}\" y1=\"{:.1f}\" x2=\"{:.1f}\" y2=\"{:.1f}\" class=\"{}\"/>\n",
                  from.x(), from.y(), to.x(), to.y(), style);
}

void Svg::coloured_line(const Vec2& from, const Vec2& to, std::string_view colour) {
  body_ +=
      fmt::format("<line x1=\"{:.1f}\" y1=\"{:.1f}\" x2=\"{:.1f}\" y2=\"{:.1f}\" stroke=\"{}\"/>\n",
                  from.x(), from.y(), to.x(), to.y(), colour);
}

void Svg::path(const std::vector<Vec2>& points, std::string_view style, bool closed) {
  std::string data;
  for (const Vec2& point : points) {
    data += fmt::format("{}{:.1f} {:.1f}", data.empty() ? 'M' : 'L', point.x(), point.y());
  }
  body_ += fmt::format("<path d=\"{}{}\" class=\"{}\"/>\n", data, closed ? "Z" : "", style);
}

void Svg::circle(const Vec2& centre, double radius, std::string_view style) {
  body_ += fmt::format("<circle cx=\"{:.1f}\" cy=\"{:.1f}\" r=\"{:.1f}\" class=\"{}\"/>\n",
                       centre.x(), centre.y(), radius, style);
}

void Svg::rect(const Vec2& corner, const Vec2& size, std::string_view style) {
  body_ += fmt::format(
      "<rect x=\"{:.1f}\" y=\"{:.1f}\" width=\"{:.1f}\" height=\"{:.1f}\" class=\"{}\"/>\n",
      corner.x(), corner.y(), size.x(), size.y(), style);
}

void Svg::coloured_rect(const Vec2& corner, const Vec2& size, std::string_view colour) {
  body_ += fmt::format(
      "<rect x=\"{:.1f}\" y=\"{:.1f}\" width=\"{:.1f}\" height=\"{:.1f}\" fill=\"{}\"/>\n",
      corner.x(), corner.y(), size.x(), size.y(), colour);
}

void Svg::text(const Vec2& at, std::string_view text, Anchor anchor, std::string_view style) {
  const char* const anchors[] = {"start", "middle", "end"};
  body_ +=
      fmt::format("<text x=\"{:.1f}\" y=\"{:.1f}\" text-anchor=\"{}\" class=\"{}\">{}</text>\n",
                  at.x(), at.y(), anchors[static_cast<std::size_t>(anchor)], style, escaped(text));
}

std::string Svg::markup() const { return head_ + body_ + "</svg>\n"; }

}  // namespace seamwright::report
