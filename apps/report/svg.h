#pragma once

// A drawing in SVG, inline in a page, told in words to those who do not see it.

#include <string>
#include <string_view>
#include <vector>

#include "projection/conventions.h"

namespace seamwright::report {

/// viridis (van der Walt and Smith 2015): perceptually even, safe for colour-blind eyes and grey
/// prints. `t` 0…1, clamped. "#rrggbb".
[[nodiscard]] std::string viridis(double t);

enum class Anchor { start, middle, end };

/// Coordinates in drawing units; `style` names CSS classes, which the page's style sheet explains.
class Svg {
 public:
  /// `told` says in a sentence what the drawing shows.
  Svg(double width, double height, std::string_view told);

  void line(const Vec2& from, const Vec2& to, std::string_view style);
  void coloured_line(const Vec2& from, const Vec2& to, std::string_view colour);
  void path(const std::vector<Vec2>& points, std::string_view style, bool closed = false);
  void circle(const Vec2& centre, double radius, std::string_view style);
  void rect(const Vec2& corner, const Vec2& size, std::string_view style);
  void coloured_rect(const Vec2& corner, const Vec2& size, std::string_view colour);
  void text(const Vec2& at, std::string_view text, Anchor anchor = Anchor::middle,
            std::string_view style = "t");

  [[nodiscard]] std::string markup() const;

 private:
  std::string head_;
  std::string body_;
};

}  // namespace seamwright::report
