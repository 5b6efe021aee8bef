#include "apps/report/svg.h"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

#include "apps/report/markup.h"
#include "imaging/viridis.h"

namespace seamwright::report {

std::string viridis(double t) {
  const auto [red, green, blue] = seamwright::viridis(t);
  return fmt::format("#{:02x}{:02x}{:02x}", red, green, blue);
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
