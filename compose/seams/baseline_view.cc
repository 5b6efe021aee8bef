#include "compose/seams/baseline_view.h"

#include <cmath>
#include <cstddef>

#include "compose/seams/ribbon_kernels.h"

namespace seamwright {

namespace {

RibbonPointRow sighted_row(const Colatitude& seen_under, std::span<const float> inverse_m) {
  return {.sin = static_cast<float>(seen_under.sin),
          .cos = static_cast<float>(seen_under.cos),
          .inverse_m = inverse_m.data(),
          .count = inverse_m.size()};
}

}  // namespace

double eta_seen_from(double to_m, double from_m, double eta_rad, double inverse_m) {
  return RibbonPoint(from_m, Colatitude(eta_rad), inverse_m).eta_from(to_m);
}

void turns_seen_from(const Colatitude& seen_under, const float* from_m, double to_m,
                     std::span<const float> inverse_m, float* turn_rad) {
  turn_row(sighted_row(seen_under, inverse_m), from_m, static_cast<float>(to_m), turn_rad);
  for (std::size_t i = 0; i < inverse_m.size(); ++i) {
    if (turn_rad[i] != kNoTurn) continue;
    const RibbonPoint point(static_cast<double>(from_m[i]), seen_under,
                            static_cast<double>(inverse_m[i]));
    turn_rad[i] = static_cast<float>(point.eta_from(to_m) - seen_under.rad);
  }
}

void turns_seen_from(const Colatitude& seen_under, double from_m, double to_m,
                     std::span<const float> inverse_m, float* turn_rad) {
  turn_row(sighted_row(seen_under, inverse_m), static_cast<float>(from_m), static_cast<float>(to_m),
           turn_rad);
  for (std::size_t i = 0; i < inverse_m.size(); ++i) {
    if (turn_rad[i] != kNoTurn) continue;
    const RibbonPoint point(from_m, seen_under, static_cast<double>(inverse_m[i]));
    turn_rad[i] = static_cast<float>(point.eta_from(to_m) - seen_under.rad);
  }
}

double inverse_distance(double half_m, double eta_a_rad, double eta_b_rad) {
  const double cot_a = 1 / std::tan(eta_a_rad);
  const double cot_b = 1 / std::tan(eta_b_rad);
  const double inverse_radius = std::max(0.0, (cot_b - cot_a) / (2 * half_m));
  return inverse_radius / std::hypot(1.0, 0.5 * (cot_a + cot_b));
}

std::vector<Colatitude> row_colatitudes(const RibbonGrid& grid) {
  std::vector<Colatitude> rows;
  for (int y = 0; y < grid.height_px; ++y) rows.emplace_back(eta_of_row(grid, y + 0.5));
  return rows;
}

double half_baseline(const MountedLens& a, const MountedLens& b, const RibbonGrid& grid) {
  constexpr int kAzimuths = 8;
  const double span_rad = grid.width_px / grid.px_per_rad;
  double sum = 0;
  for (int i = 0; i < kAzimuths; ++i) {
    const double psi = grid.psi_begin_rad + span_rad * (i + 0.5) / kAzimuths;
    const Vec3 ray = grid.axes.direction({psi, eta_of_row(grid, 0.5 * grid.height_px)});
    sum += grid.axes.pole().dot(a.ray_origin_in_rig(ray) - b.ray_origin_in_rig(ray));
  }
  return 0.5 * sum / kAzimuths;
}

}  // namespace seamwright
