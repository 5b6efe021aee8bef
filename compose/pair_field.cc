#include "compose/pair_field.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>

namespace seamwright {

namespace {

// The four pixels around a place of the ribbon and their weights; beyond an open end the last ones
// are held.
struct Corners {
  std::array<std::size_t, 2> column;
  std::array<int, 2> row;
  double right;
  double down;

  Corners(const RibbonGrid& grid, const Vec2& at) {
    const double x = at.x() - 0.5;
    const double y = at.y() - 0.5;
    const int left = static_cast<int>(std::floor(x));
    const int top = static_cast<int>(std::floor(y));
    right = x - left;
    down = y - top;
    for (int i = 0; i < 2; ++i) {
      const int around = grid.closed ? (left + i + grid.width_px) % grid.width_px
                                     : std::clamp(left + i, 0, grid.width_px - 1);
      column[static_cast<std::size_t>(i)] = static_cast<std::size_t>(around);
      row[static_cast<std::size_t>(i)] = std::clamp(top + i, 0, grid.height_px - 1);
    }
  }

  template <class Value>
  [[nodiscard]] double mean(const Value& value) const {
    const double above = (1 - right) * value(row[0], column[0]) + right * value(row[0], column[1]);
    const double below = (1 - right) * value(row[1], column[0]) + right * value(row[1], column[1]);
    return (1 - down) * above + down * below;
  }
};

}  // namespace

PairField::PairField(const PairSeam& seam, double panorama_px_per_rad)
    : seam_(seam),
      width_(static_cast<std::size_t>(seam.warp.grid.width_px)),
      shift_a_(seam.warp.shift_a_rad.row<float>(0).data()),
      shift_b_(seam.warp.shift_b_rad.row<float>(0).data()),
      seen_by_(seam.warp.seen_by.row<std::uint8_t>(0).data()) {
  // Two pixels of the ribbon or of the panorama, whichever are larger: no stairs.
  constexpr double kFeather_px = 2;
  feather_px_ = kFeather_px * std::max(1.0, seam.warp.grid.px_per_rad / panorama_px_per_rad);
}

bool PairField::touches(const Vec3& direction, double reach_rad) const {
  const RibbonGrid& grid = seam_.warp.grid;
  const RibbonAngles at = grid.axes.angles(direction);
  const double end = grid.eta_begin_rad + grid.height_px / grid.px_per_rad;
  if (at.eta_rad < grid.eta_begin_rad - reach_rad || at.eta_rad > end + reach_rad) return false;
  if (grid.closed) return true;
  // A step of a given angle turns farther around the pole the nearer it is.
  const double turn = reach_rad / std::max(1e-3, std::sin(at.eta_rad) - reach_rad);
  const double span = grid.width_px / grid.px_per_rad;
  const double from_middle = std::remainder(at.psi_rad - grid.psi_begin_rad - 0.5 * span, 2 * kPi);
  return std::abs(from_middle) <= 0.5 * span + turn;
}

PairField::Place PairField::place(const RibbonAngles& angles) const {
  const RibbonGrid& grid = seam_.warp.grid;
  // Into [0, 2π); a hair below 0 must not round up to a whole turn.
  double turn = std::fmod(angles.psi_rad - grid.psi_begin_rad, 2 * kPi);
  if (turn < 0) turn += 2 * kPi;
  if (turn >= 2 * kPi) turn = 0;
  return {angles,
          {turn * grid.px_per_rad, (angles.eta_rad - grid.eta_begin_rad) * grid.px_per_rad}};
}

double PairField::shift_rad(std::size_t lens, const Place& at) const {
  const float* shift = lens == lens_a() ? shift_a_ : shift_b_;
  return Corners(seam_.warp.grid, at.px).mean([&](int y, std::size_t x) {
    return static_cast<double>(shift[static_cast<std::size_t>(y) * width_ + x]);
  });
}

double PairField::strength(const Place& at) const {
  return Corners(seam_.warp.grid, at.px).mean([&](int, std::size_t x) {
    return static_cast<double>(seam_.warp.strength[x]);
  });
}

PairStep PairField::step(const Place& at) const {
  return {.a = lens_a(),
          .b = lens_b(),
          .share_a = seam_.path.share_a(at.px.x(), at.px.y(), feather_px_),
          .weight = strength(at)};
}

PairField::Shown PairField::shown(const Place& at) const {
  const Corners corners(seam_.warp.grid, at.px);
  const auto share = [&](std::uint8_t bit) {
    return corners.mean([&](int y, std::size_t x) {
      return (seen_by_[static_cast<std::size_t>(y) * width_ + x] & bit) != 0 ? 1.0 : 0.0;
    });
  };
  return {share(kSeenByA), share(kSeenByB)};
}

LensTone PairField::tone(std::size_t lens, const Place& at) const {
  if (!seam_.blend) return {};
  LensTone tone = lens == lens_a() ? seam_.blend->tone_a(at.px.x(), at.px.y())
                                   : seam_.blend->tone_b(at.px.x(), at.px.y());
  const auto strength = static_cast<float>(this->strength(at));
  for (std::size_t c = 0; c < 3; ++c) {
    tone.gain[c] = 1 + strength * (tone.gain[c] - 1);
    tone.add[c] *= strength;
  }
  return tone;
}

}  // namespace seamwright
