#include "compose/render/common_field.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

#include "base/parallel.h"
#include "base/smooth_step.h"

namespace seamwright {

namespace {

constexpr double kLeastEta_rad = rad_from_deg(3);
constexpr int kEtaSteps = 348;    // half a degree each
constexpr int kOverlapStep = 16;  // columns between which an overlap's borders are straight

double eta_of(double step) { return kLeastEta_rad + step * (kPi - 2 * kLeastEta_rad) / kEtaSteps; }

// The step, with a fraction, at which the lesser margin becomes 0.
double border(const std::vector<double>& lesser, int from, int way) {
  const int end = static_cast<int>(lesser.size());
  int i = from;
  while (i + way >= 0 && i + way < end && lesser[static_cast<std::size_t>(i + way)] > 0) i += way;
  if (i + way < 0 || i + way >= end) return i;
  const double inside = lesser[static_cast<std::size_t>(i)];
  const double outside = lesser[static_cast<std::size_t>(i + way)];
  return i + way * inside / (inside - outside);
}

}  // namespace

double CommonField::margin(int lens, const Vec3& direction) const {
  return maps_[static_cast<std::size_t>(lens)].margin_rad(direction) - kFieldMargin_rad;
}

double CommonField::lesser_margin(const Vec3& direction) const {
  return std::min(margin(a_, direction), margin(b_, direction));
}

SlideColumn CommonField::at(double psi_rad) const {
  std::vector<double> lesser(kEtaSteps + 1);
  for (int i = 0; i <= kEtaSteps; ++i) {
    lesser[static_cast<std::size_t>(i)] = lesser_margin(axes_.direction({psi_rad, eta_of(i)}));
  }
  const auto best = std::max_element(lesser.begin(), lesser.end());
  if (*best <= 0) return {};
  const auto middle = static_cast<int>(best - lesser.begin());
  SlideColumn column{.begin_rad = eta_of(border(lesser, middle, -1)),
                     .end_rad = eta_of(border(lesser, middle, 1))};
  const double eta = 0.5 * (column.begin_rad + column.end_rad);
  column.strength = strength(axes_.direction({psi_rad, eta}));
  return column;
}

double CommonField::strength(const Vec3& direction) const {
  constexpr double kWhole_rad = rad_from_deg(12);  // by which a third lens must trail
  constexpr double kNone_rad = rad_from_deg(2);
  const double own = lesser_margin(direction);
  double least = 1;
  for (int lens = 0; lens < static_cast<int>(maps_.size()); ++lens) {
    if (lens == a_ || lens == b_) continue;
    const double lead = own - std::max(0.0, margin(lens, direction));
    const bool blind = margin(lens, direction) < -kWhole_rad;
    if (!blind) least = std::min(least, level_step((lead - kNone_rad) / (kWhole_rad - kNone_rad)));
  }
  return least;
}

std::vector<SlideColumn> slide_columns(const CommonField& field, const RibbonGrid& grid) {
  const auto asked = [&](double x_px) {
    return field.at(grid.psi_begin_rad + (x_px + 0.5) / grid.px_per_rad);
  };
  const int steps = (grid.width_px + kOverlapStep - 1) / kOverlapStep;
  std::vector<SlideColumn> node(static_cast<std::size_t>(steps + 1));
  parallel_for(0, steps + 1,
               [&](int i) { node[static_cast<std::size_t>(i)] = asked(1.0 * i * kOverlapStep); });
  std::vector<SlideColumn> columns(static_cast<std::size_t>(grid.width_px));
  parallel_for(0, grid.width_px, [&](int x) {
    const SlideColumn& from = node[static_cast<std::size_t>(x / kOverlapStep)];
    const SlideColumn& to = node[static_cast<std::size_t>(x / kOverlapStep + 1)];
    SlideColumn& column = columns[static_cast<std::size_t>(x)];
    if (from.strength <= 0 || to.strength <= 0) {
      column = asked(x);
      return;
    }
    const double t = 1.0 * (x % kOverlapStep) / kOverlapStep;
    column = {.begin_rad = std::lerp(from.begin_rad, to.begin_rad, t),
              .end_rad = std::lerp(from.end_rad, to.end_rad, t),
              .strength = std::lerp(from.strength, to.strength, t)};
  });
  return columns;
}

RibbonGrid cropped(RibbonGrid grid, const CommonField& field, double most_shift_rad,
                   const SlideOptions& options) {
  constexpr int kAzimuths = 360;
  const double span = grid.width_px / grid.px_per_rad;
  std::array<SlideColumn, kAzimuths> columns;
  parallel_for(0, kAzimuths, [&](int i) {
    columns[static_cast<std::size_t>(i)] =
        field.at(grid.psi_begin_rad + span * (i + 0.5) / kAzimuths);
  });
  double low = kPi;
  double high = 0;
  for (const SlideColumn& column : columns) {
    if (column.strength <= 0) continue;
    const double middle = 0.5 * (column.begin_rad + column.end_rad);
    low = std::min(low, std::max(column.begin_rad, middle - options.most_half_width_rad));
    high = std::max(high, std::min(column.end_rad, middle + options.most_half_width_rad));
  }
  const int first = static_cast<int>((low - most_shift_rad - grid.eta_begin_rad) * grid.px_per_rad);
  const int last = static_cast<int>((high + most_shift_rad - grid.eta_begin_rad) * grid.px_per_rad);
  const int begin = std::clamp(first, 0, grid.height_px);
  const int end = std::clamp(last + 1, begin, grid.height_px);
  grid.eta_begin_rad += begin / grid.px_per_rad;
  grid.height_px = end - begin;
  return grid;
}

}  // namespace seamwright
