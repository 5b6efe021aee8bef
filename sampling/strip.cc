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

std::optional<FramePosition> frame_position(const RibbonGrid& grid, const MountedLens& lens,
                                            const Vec2& strip_px) {
  const RibbonAngles at{grid.psi_begin_rad + strip_px.x() / grid.px_per_rad,
                        grid.eta_begin_rad + strip_px.y() / grid.px_per_rad};
  const Quat lens_from_rig = lens.rig_from_lens.conjugate();
  Eigen::Matrix<double, 2, 3> by_direction;
  const auto px = lens.lens.project(lens_from_rig * grid.axes.direction(at), by_direction);
  if (!px) return std::nullopt;
  Eigen::Matrix<double, 3, 2> direction_by_strip;
  direction_by_strip.col(0) = lens_from_rig * grid.axes.sideways(at) * std::sin(at.eta_rad);
  direction_by_strip.col(1) = lens_from_rig * grid.axes.parallax(at);
  return FramePosition{*px, by_direction * direction_by_strip / grid.px_per_rad};
}

std::optional<Vec2> strip_position(const RibbonGrid& grid, const MountedLens& lens,
                                   const Vec2& frame_px) {
  const auto direction = lens.direction_in_rig(frame_px);
  if (!direction) return std::nullopt;
  return grid.position(*direction);
}

}  // namespace seamwright
