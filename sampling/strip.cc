#include "sampling/strip.h"

#include <cmath>

namespace seamwright {

Strip render_strip(const LensView& view, const RibbonGrid& grid, const NormaliseOptions& options) {
  return {resample(
              view, [&](const Vec2& px) { return grid.direction(px); }, grid.width_px,
              grid.height_px, options),
          grid};
}

RibbonGrid padded(const RibbonGrid& grid, int pad_px) {
  RibbonGrid wide = grid;
  wide.psi_begin_rad -= pad_px / grid.px_per_rad;
  wide.width_px += 2 * pad_px;
  wide.closed = false;
  return wide;
}

std::optional<RibbonPlace> ribbon_place(const RibbonGrid& grid, const MountedLens& lens,
                                        const Vec2& at) {
  const RibbonAngles angles{grid.psi_begin_rad + at.x() / grid.px_per_rad,
                            grid.eta_begin_rad + at.y() / grid.px_per_rad};
  const Vec3 direction = grid.axes.direction(angles);
  const Quat lens_from_rig = lens.rig_from_lens.conjugate();
  Eigen::Matrix<double, 2, 3> by_direction;
  const auto px = lens.lens.project(lens_from_rig * direction, by_direction);
  if (!px) return std::nullopt;
  Eigen::Matrix<double, 3, 2> direction_by_at;
  direction_by_at.col(0) = lens_from_rig * grid.axes.sideways(angles) * std::sin(angles.eta_rad);
  direction_by_at.col(1) = lens_from_rig * grid.axes.parallax(angles);
  return RibbonPlace{.at = at,
                     .px = *px,
                     .px_by_at = by_direction * direction_by_at / grid.px_per_rad,
                     .direction = direction};
}

std::optional<Vec2> strip_position(const RibbonGrid& grid, const MountedLens& lens,
                                   const Vec2& frame_px) {
  const auto direction = lens.direction_in_rig(frame_px);
  if (!direction) return std::nullopt;
  return grid.position(*direction);
}

}  // namespace seamwright
