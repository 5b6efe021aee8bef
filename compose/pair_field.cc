#include "compose/pair_field.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>

namespace seamwright {

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
  double turn = angles.psi_rad - grid.psi_begin_rad;
  if (turn < 0 || turn >= 2 * kPi) turn -= 2 * kPi * std::floor(turn / (2 * kPi));
  if (turn >= 2 * kPi) turn = 0;
  Place at{.angles = angles,
           .row_px = (angles.eta_rad - grid.eta_begin_rad) * grid.px_per_rad,
           .corners = {}};
  at.corners = {turn * grid.px_per_rad, at.row_px, grid.width_px, grid.height_px, grid.closed};
  const float left = seam_.warp.strength[at.corners.column[0]];
  const float right = seam_.warp.strength[at.corners.column[1]];
  at.strength = left + at.corners.right * (right - left);
  return at;
}

double PairField::shift_rad(std::size_t lens, const Place& at) const {
  const float* shift = lens == lens_a() ? shift_a_ : shift_b_;
  return static_cast<double>(
      at.corners.mean([&](std::size_t y, std::size_t x) { return shift[y * width_ + x]; }));
}

PairStep PairField::step(const Place& at) const {
  return {.a = lens_a(),
          .b = lens_b(),
          .share_a = seam_.path.share_a(at.corners, at.row_px, feather_px_),
          .weight = static_cast<double>(at.strength)};
}

PairField::Shown PairField::shown(const Place& at) const {
  const auto seen = [&](std::size_t row, std::size_t column) {
    return seen_by_[at.corners.row[row] * width_ + at.corners.column[column]];
  };
  const int all = seen(0, 0) & seen(0, 1) & seen(1, 0) & seen(1, 1);
  if (all == (kSeenByA | kSeenByB)) return {};  // as nearly everywhere
  const auto share = [&](std::uint8_t bit) {
    return static_cast<double>(at.corners.mean([&](std::size_t y, std::size_t x) {
      return (seen_by_[y * width_ + x] & bit) != 0 ? 1.0F : 0.0F;
    }));
  };
  return {share(kSeenByA), share(kSeenByB)};
}

LensTone PairField::tone(std::size_t lens, const Place& at) const {
  if (!seam_.blend) return {};
  LensTone tone =
      lens == lens_a() ? seam_.blend->tone_a(at.corners) : seam_.blend->tone_b(at.corners);
  for (std::size_t c = 0; c < 3; ++c) {
    tone.gain[c] = 1 + at.strength * (tone.gain[c] - 1);
    tone.add[c] *= at.strength;
  }
  return tone;
}

}  // namespace seamwright
