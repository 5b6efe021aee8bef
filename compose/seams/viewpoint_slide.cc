#include "compose/seams/viewpoint_slide.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <cstddef>
#include <utility>

#include "base/smooth_step.h"
#include "compose/seams/ribbon_kernels.h"

namespace seamwright {

namespace {

// Reads columns beyond the ends: around a closed ribbon, else held.
class Around {
 public:
  Around(int width, bool closed) : width_(width), closed_(closed) {}
  [[nodiscard]] std::size_t operator()(int x) const {
    const int there = closed_ ? ((x % width_) + width_) % width_ : std::clamp(x, 0, width_ - 1);
    return static_cast<std::size_t>(there);
  }

 private:
  int width_;
  bool closed_;
};

// Columns without an overlap take the borders of the nearest that has one, so that evening out
// finds nothing there to stumble over.
void carry_borders(std::vector<SlideColumn>& columns, bool closed) {
  const int width = static_cast<int>(columns.size());
  const Around at(width, closed);
  const std::vector<SlideColumn> from = columns;
  for (int x = 0; x < width; ++x) {
    if (from[at(x)].strength > 0) continue;
    for (int away = 1; away < width; ++away) {
      const SlideColumn& before = from[at(x - away)];
      const SlideColumn& after = from[at(x + away)];
      if (before.strength <= 0 && after.strength <= 0) continue;
      const SlideColumn& near = before.strength > 0 ? before : after;
      columns[at(x)].begin_rad = near.begin_rad;
      columns[at(x)].end_rad = near.end_rad;
      break;
    }
  }
}

void narrow(std::vector<SlideColumn>& columns, const SlideOptions& options) {
  for (SlideColumn& column : columns) {
    const double middle = 0.5 * (column.begin_rad + column.end_rad);
    const double half = std::max(0.0, 0.5 * (column.end_rad - column.begin_rad));
    const double least = options.least_half_width_rad;
    column.strength *= level_step((half - least) / least);
    column.begin_rad = middle - std::min(half, options.most_half_width_rad);
    column.end_rad = middle + std::min(half, options.most_half_width_rad);
  }
}

// The innermost border and the least strength within `reach` columns, then a running mean over as
// many: smooth, and never beyond what was allowed.
void even_out(std::vector<SlideColumn>& columns, bool closed, int reach) {
  const int width = static_cast<int>(columns.size());
  const Around at(width, closed);
  std::vector<SlideColumn> least = columns;
  for (int x = 0; x < width; ++x) {
    SlideColumn& here = least[at(x)];
    for (int i = -reach; i <= reach; ++i) {
      const SlideColumn& there = columns[at(x + i)];
      here.begin_rad = std::max(here.begin_rad, there.begin_rad);
      here.end_rad = std::min(here.end_rad, there.end_rad);
      const bool beyond = !closed && (x + i < 0 || x + i >= width);
      here.strength = beyond ? 0 : std::min(here.strength, there.strength);
    }
  }
  for (int x = 0; x < width; ++x) {
    SlideColumn sum;
    double weights = 0;
    for (int i = -reach; i <= reach; ++i) {
      const SlideColumn& there = least[at(x + i)];
      const double weight = level_step(1 - std::abs(i) / (reach + 1.0));
      weights += weight;
      sum.begin_rad += weight * there.begin_rad;
      sum.end_rad += weight * there.end_rad;
      const bool beyond = !closed && (x + i < 0 || x + i >= width);
      sum.strength += beyond ? 0 : weight * there.strength;
    }
    columns[at(x)] = {sum.begin_rad / weights, sum.end_rad / weights, sum.strength / weights};
  }
}

}  // namespace

ViewpointSlide::ViewpointSlide(double half_m, const RibbonGrid& grid,
                               std::vector<SlideColumn> columns, const SlideOptions& options)
    : half_m_(half_m), columns_(std::move(columns)) {
  assert(static_cast<int>(columns_.size()) == grid.width_px);
  carry_borders(columns_, grid.closed);
  narrow(columns_, options);
  even_out(columns_, grid.closed, static_cast<int>(options.even_rad * grid.px_per_rad));
  constexpr double kAtOnce = 1e12;  // of a walk that has no width
  for (const SlideColumn& column : columns_) {
    const double width = column.end_rad - column.begin_rad;
    begin_rad_.push_back(column.begin_rad);
    per_width_.push_back(static_cast<float>(width > 0 ? std::min(1 / width, kAtOnce) : kAtOnce));
  }
}

double ViewpointSlide::strength(int x) const {
  return columns_[static_cast<std::size_t>(x)].strength;
}

double ViewpointSlide::offset_m(int x, double eta_rad) const {
  const SlideColumn& column = columns_[static_cast<std::size_t>(x)];
  const double width = column.end_rad - column.begin_rad;
  if (width <= 0) return eta_rad < column.begin_rad ? half_m_ : -half_m_;
  return half_m_ * (1 - 2 * level_step((eta_rad - column.begin_rad) / width));
}

double ViewpointSlide::shown_eta(int x, double from_m, const Colatitude& seen_under,
                                 double inverse_m) const {
  // The root of η − (colatitude seen from where the panorama looks under η). What is seen is nearly
  // linear in the viewpoint's offset, and the root lies between what the two pupils see: Newton's
  // method within that bracket, which each step narrows.
  const RibbonPoint point(from_m, seen_under, inverse_m);
  double high = point.eta_from(half_m_);
  double low = point.eta_from(-half_m_);
  const SlideColumn& column = columns_[static_cast<std::size_t>(x)];
  const double width = column.end_rad - column.begin_rad;
  const double disparity = high - low;
  constexpr int kMostSteps = 40;
  constexpr double kClose_rad = 1e-8;
  double eta = 0.5 * (low + high);
  for (int i = 0; i < kMostSteps && high - low > kClose_rad; ++i) {
    const double seen = point.eta_from(offset_m(x, eta));
    const double error = eta - seen;
    if (std::abs(error) < kClose_rad) break;
    // On one side of the root a guess sees what lies on the other.
    if (error > 0) {
      high = eta;
      low = std::max(low, seen);
    } else {
      low = eta;
      high = std::min(high, seen);
    }
    const double t = width > 0 ? std::clamp((eta - column.begin_rad) / width, 0.0, 1.0) : 0.0;
    const double slope = width > 0 ? 6 * t * (1 - t) * disparity / width : 0.0;
    const double next = eta - error / (1 + slope);
    eta = next > low && next < high ? next : 0.5 * (low + high);
  }
  return eta;
}

void ViewpointSlide::shown_turns(int x, double from_m, const Colatitude& seen_under,
                                 std::span<const float> inverse_m, float* turn_rad) const {
  const auto first = static_cast<std::size_t>(x);
  const RibbonPointRow row{.sin = static_cast<float>(seen_under.sin),
                           .cos = static_cast<float>(seen_under.cos),
                           .inverse_m = inverse_m.data(),
                           .count = inverse_m.size()};
  const WalkRow walk{.half_m = static_cast<float>(half_m_),
                     .eta_rad = seen_under.rad,
                     .begin_rad = begin_rad_.data() + first,
                     .per_width = per_width_.data() + first};
  walk_row(row, walk, static_cast<float>(from_m), turn_rad);
  for (std::size_t i = 0; i < inverse_m.size(); ++i) {
    if (turn_rad[i] != kNoTurn) continue;
    const double eta =
        shown_eta(x + static_cast<int>(i), from_m, seen_under, static_cast<double>(inverse_m[i]));
    turn_rad[i] = static_cast<float>(eta - seen_under.rad);
  }
}

void ViewpointSlide::offsets_m(int x, double eta_rad, std::span<float> offset_m) const {
  const auto first = static_cast<std::size_t>(x);
  offset_row({.half_m = static_cast<float>(half_m_),
              .eta_rad = eta_rad,
              .begin_rad = begin_rad_.data() + first,
              .per_width = per_width_.data() + first},
             offset_m.size(), offset_m.data());
}

}  // namespace seamwright
