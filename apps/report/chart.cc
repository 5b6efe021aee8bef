#include "apps/report/chart.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "apps/report/svg.h"

namespace seamwright::report {

namespace {

constexpr double kWidth = 480;
constexpr double kHeight = 280;
constexpr double kLeft = 58;
constexpr double kRight = 14;
constexpr double kTop = 34;
constexpr double kBottom = 48;

struct Scale {
  Axis x;
  Axis y;

  [[nodiscard]] Vec2 at(double px, double py) const {
    return {kLeft + (px - x.low) / (x.high - x.low) * (kWidth - kLeft - kRight),
            kHeight - kBottom - (py - y.low) / (y.high - y.low) * (kHeight - kTop - kBottom)};
  }
};

// No more digits than the step needs.
std::string tick_text(double value, double step) {
  const int digits = std::max(0, static_cast<int>(-std::floor(std::log10(step) + 1e-9)));
  return fmt::format("{:.{}f}", value, digits);
}

double step_of(const Axis& axis) {
  return axis.tick > 0 ? axis.tick : round_step(axis.high - axis.low, 5);
}

void draw_axes(Svg& svg, const Scale& scale, bool with_x_ticks) {
  const double y_step = step_of(scale.y);
  for (double tick = std::ceil(scale.y.low / y_step - 1e-9) * y_step;
       tick <= scale.y.high + 1e-9 * y_step; tick += y_step) {
    svg.line(scale.at(scale.x.low, tick), scale.at(scale.x.high, tick), "g");
    const double shown = std::abs(tick) < 1e-9 * y_step ? 0 : tick;
    svg.text(scale.at(scale.x.low, tick) + Vec2(-7, 5), tick_text(shown, y_step), Anchor::end);
  }
  if (with_x_ticks) {
    const double x_step = step_of(scale.x);
    for (double tick = std::ceil(scale.x.low / x_step - 1e-9) * x_step;
         tick <= scale.x.high + 1e-9 * x_step; tick += x_step) {
      const Vec2 foot = scale.at(tick, scale.y.low);
      svg.line(foot, foot + Vec2(0, 5), "x");
      const double shown = std::abs(tick) < 1e-9 * x_step ? 0 : tick;
      svg.text(foot + Vec2(0, 19), tick_text(shown, x_step));
    }
  }
  svg.line(scale.at(scale.x.low, scale.y.low), scale.at(scale.x.high, scale.y.low), "x");
  svg.text({kLeft + (kWidth - kLeft - kRight) / 2, kHeight - 8}, scale.x.label);
  svg.text({4, 16}, scale.y.label, Anchor::start);
}

void draw_series(Svg& svg, const Scale& scale, const Series& series) {
  std::vector<Vec2> line;
  std::vector<Vec2> band;
  const auto held = [&](double y) { return std::clamp(y, scale.y.low, scale.y.high); };
  for (std::size_t i = 0; i < series.points.size(); ++i) {
    const auto& [x, y] = series.points[i];
    line.push_back(scale.at(x, held(y)));
    if (!series.sigma.empty()) band.push_back(scale.at(x, held(y + series.sigma[i])));
  }
  for (std::size_t i = band.size(); i-- > 0;) {
    const auto& [x, y] = series.points[i];
    band.push_back(scale.at(x, held(y - series.sigma[i])));
  }
  if (!band.empty()) svg.path(band, fmt::format("b b{}", series.look), true);
  svg.path(line, fmt::format("s s{}", series.look));
}

// Names along the top, right to left.
void draw_legend(Svg& svg, const std::vector<Series>& series) {
  double right = kWidth - kRight;
  for (std::size_t i = series.size(); i-- > 0;) {
    svg.text({right, 16}, series[i].name, Anchor::end);
    right -= 7.4 * static_cast<double>(series[i].name.size()) + 6;
    svg.path({{right - 24, 11}, {right, 11}}, fmt::format("s s{}", series[i].look));
    right -= 36;
  }
}

}  // namespace

double round_step(double range, int most) {
  const double rough = std::max(range, 1e-12) / most;
  const double power = std::pow(10.0, std::floor(std::log10(rough)));
  for (const double step : {1.0, 2.0, 5.0}) {
    if (step * power >= rough * (1 - 1e-9)) return step * power;
  }
  return 10 * power;
}

std::string line_chart(const std::string& told, const Axis& x, const Axis& y,
                       const std::vector<Series>& series) {
  Svg svg(kWidth, kHeight, told);
  const Scale scale{x, y};
  draw_axes(svg, scale, true);
  for (const Series& one : series) draw_series(svg, scale, one);
  draw_legend(svg, series);
  return svg.markup();
}

std::string bar_chart(const std::string& told, const std::string& x_label,
                      const std::string& y_label, const std::vector<Bar>& bars) {
  Svg svg(kWidth, kHeight, told);
  double highest = 1;
  for (const Bar& bar : bars) highest = std::max(highest, bar.value);
  const double step = round_step(highest, 5);
  const Scale scale{{.label = x_label,
                     .low = 0,
                     .high = static_cast<double>(std::max<std::size_t>(1, bars.size()))},
                    {.label = y_label, .low = 0, .high = std::ceil(highest / step) * step}};
  draw_axes(svg, scale, false);
  for (std::size_t i = 0; i < bars.size(); ++i) {
    const auto x = static_cast<double>(i);
    const Vec2 top = scale.at(x + 0.1, bars[i].value);
    const Vec2 foot = scale.at(x + 0.9, 0);
    svg.rect(top, foot - top, "bar");
    svg.text(scale.at(x + 0.5, 0) + Vec2(0, 19), bars[i].label);
  }
  return svg.markup();
}

}  // namespace seamwright::report
