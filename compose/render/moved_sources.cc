#include "compose/render/moved_sources.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "compose/render/pair_kernels.h"
#include "sampling/cell_fill.h"

namespace seamwright {

namespace {

// A shift that many directions are moved by.
class Shift {
 public:
  explicit Shift(double shift_rad) : cos_(std::cos(shift_rad)), sin_(std::sin(shift_rad)) {}

  [[nodiscard]] Vec2 source_px(const LensMap& map, const Vec3& direction,
                               const Vec3& parallax) const {
    return map.source_px(cos_ * direction + sin_ * parallax)
        .value_or(Vec2::Constant(std::numeric_limits<double>::quiet_NaN()));
  }

 private:
  double cos_;
  double sin_;
};

// Where a lens shows pixels of a cell at three shifts, each one step farther than that before.
class ThreeShifts {
 public:
  ThreeShifts(const LensMap& map, const RibbonAxes& axes, const DirectionAt& direction_at,
              double least_rad, double step_rad)
      : map_(map),
        axes_(axes),
        direction_at_(direction_at),
        least_rad_(least_rad),
        step_rad_(step_rad),
        shifts_{Shift(least_rad), Shift(least_rad + step_rad), Shift(least_rad + 2 * step_rad)} {}

  using Positions = Eigen::Matrix<double, 6, 1>;
  [[nodiscard]] Positions operator()(const Vec2& px) const {
    const Vec3 direction = direction_at_(px);
    const Vec3 parallax = axes_.parallax(direction);
    Positions all;
    all << shifts_[0].source_px(map_, direction, parallax),
        shifts_[1].source_px(map_, direction, parallax),
        shifts_[2].source_px(map_, direction, parallax);
    return all;
  }

  // By how much the quadratic between them misses at most, measured where it is farthest off. `at`
  // is what they are there.
  [[nodiscard]] double miss_px(const Vec2& px, const Positions& at) const {
    const Vec3 direction = direction_at_(px);
    const Vec3 parallax = axes_.parallax(direction);
    const auto a = at.segment<2>(0);
    const auto b = at.segment<2>(2);
    const auto c = at.segment<2>(4);
    const auto exact = [&](double steps) {
      return Shift(least_rad_ + steps * step_rad_).source_px(map_, direction, parallax);
    };
    const double low = (0.375 * a + 0.75 * b - 0.125 * c - exact(0.5)).norm();
    const double high = (-0.125 * a + 0.75 * b + 0.375 * c - exact(1.5)).norm();
    return low >= high ? low : high;  // what is no number, too
  }

 private:
  const LensMap& map_;
  const RibbonAxes& axes_;
  const DirectionAt& direction_at_;
  double least_rad_;
  double step_rad_;
  std::array<Shift, 3> shifts_;
};

}  // namespace

bool fill_moved_sources(const LensMap& map, const DirectionAt& direction_at, const Cell& cell,
                        const CellShifts& shifts, double room_rad, SourceRun& sources) {
  constexpr float kLeastStep_rad = 1e-7F;  // a ten-thousandth of a pixel
  sources.count = static_cast<std::size_t>(cell.height * Cell::kSize);
  const RunRange range = range_of(shifts.by_rad, sources.count);
  if (!(std::max(std::abs(range.least), std::abs(range.most)) < room_rad)) return false;
  const float step = std::max(0.5F * (range.most - range.least), kLeastStep_rad);
  const ThreeShifts exact(map, shifts.axes, direction_at, static_cast<double>(range.least),
                          static_cast<double>(step));
  const ThreeShifts::Positions middle = exact(cell.middle());
  if (!(exact.miss_px(cell.middle(), middle) <= 0.5 * kSourceBound_px)) return false;

  const Vec2 anchor = middle.segment<2>(2).array().floor();
  sources.anchor(anchor);
  ThreeShifts::Positions origin;
  origin << anchor, anchor, anchor;
  std::array<RunPlane, 6> planes;
  if (cell.width < Cell::kSize) {
    for (RunPlane& plane : planes) plane.fill(0);
  }
  CellFill<6, ThreeShifts>(cell, kSourceBound_px, exact, origin,
                           {planes[0].data(), planes[1].data(), planes[2].data(), planes[3].data(),
                            planes[4].data(), planes[5].data()})
      .fill();
  move_positions({.least = range.least,
                  .per_step = 1 / step,
                  .position = {planes[0].data(), planes[1].data(), planes[2].data(),
                               planes[3].data(), planes[4].data(), planes[5].data()}},
                 shifts.by_rad, sources.count, sources);
  return true;
}

}  // namespace seamwright
