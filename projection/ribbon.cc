#include "projection/ribbon.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace seamwright {

namespace {

constexpr double kShortestBaseline_m = 1e-4;
constexpr int kLeastWidth_px = 64;  // of a matching grid
constexpr int kLeastHeight_px = 24;
constexpr double kLeastSinEta = 0.35;  // nearer to the pole the ribbon is stretched too far

// Into [0, period); a hair below 0 must not round up to a whole period.
double wrapped(double angle, double period) {
  double rest = std::fmod(angle, period);
  if (rest < 0) rest += period;
  return rest < period ? rest : 0;
}

// Widest empty run of a closed occupancy histogram: where the covered arc begins and ends.
struct Arc {
  int begin = 0;
  int length = 0;
};
Arc covered_arc(const std::vector<char>& occupied) {
  const int n = static_cast<int>(occupied.size());
  Arc widest_gap;
  for (int start = 0; start < n; ++start) {
    int length = 0;
    while (length < n && occupied[static_cast<std::size_t>((start + length) % n)] == 0) ++length;
    if (length > widest_gap.length) widest_gap = {start, length};
    if (length > 0) start += length - 1;
  }
  return {(widest_gap.begin + widest_gap.length) % n, n - widest_gap.length};
}

// The widest gap may wrap through index 0; scanning from an occupied start finds it whole.
Arc covered_arc_closed(std::vector<char> occupied) {
  const auto first = std::find(occupied.begin(), occupied.end(), 1);
  if (first == occupied.end()) return {};
  const int shift = static_cast<int>(first - occupied.begin());
  std::rotate(occupied.begin(), first, occupied.end());
  Arc arc = covered_arc(occupied);
  arc.begin = (arc.begin + shift) % static_cast<int>(occupied.size());
  return arc;
}

// Asked half a million times for an overlap: the angle is compared as a cosine, and only what
// passes is projected.
class Sees {
 public:
  Sees(const MountedLens& mounted, double margin_rad)
      : mounted_(mounted),
        axis_(mounted.rig_from_lens * Vec3::UnitZ()),
        least_cosine_(std::cos(std::clamp(mounted.lens.theta_max_rad - margin_rad, 0.0, kPi))) {}

  [[nodiscard]] bool toward(const Vec3& direction) const {
    return axis_.dot(direction) >= least_cosine_;
  }
  [[nodiscard]] bool inside_frame(const Vec3& direction) const {
    const auto px = mounted_.project_direction(direction);
    return px && px->x() >= 0 && px->y() >= 0 && px->x() <= mounted_.lens.width_px &&
           px->y() <= mounted_.lens.height_px;
  }

 private:
  const MountedLens& mounted_;
  Vec3 axis_;
  double least_cosine_;
};

// px per radian along the radius where the overlap is.
double radial_px_per_rad(const Lens& lens) {
  return lens.terms[kFocal] * lens.radius_slope(std::min(lens.theta_max_rad, kPi / 2));
}

}  // namespace

RibbonAxes::RibbonAxes(const Vec3& pole, const Vec3& zero) {
  const Vec3 z = pole.normalized();
  Vec3 x = zero - zero.dot(z) * z;
  if (x.norm() < 1e-6 * zero.norm()) x = z.unitOrthogonal();
  x.normalize();
  // Once more: a zero close to the pole has lost digits to the difference.
  x = (x - x.dot(z) * z).normalized();
  ribbon_from_rig_ << x.transpose(), z.cross(x).transpose(), z.transpose();
}

RibbonAxes RibbonAxes::of_pair(const Rig& rig, int a, int b) {
  const Vec3 baseline = rig.baseline(a, b);
  if (baseline.norm() >= kShortestBaseline_m) return RibbonAxes(baseline);
  const Vec3 axis_a = rig.lenses[static_cast<std::size_t>(a)].rig_from_lens * Vec3::UnitZ();
  const Vec3 axis_b = rig.lenses[static_cast<std::size_t>(b)].rig_from_lens * Vec3::UnitZ();
  return RibbonAxes(axis_a - axis_b);
}

RibbonAngles RibbonAxes::angles(const Vec3& direction_in_rig) const {
  const Vec3 d = ribbon_from_rig_ * direction_in_rig;
  return {std::atan2(d.y(), d.x()), std::atan2(std::hypot(d.x(), d.y()), d.z())};
}

Vec3 RibbonAxes::direction(const RibbonAngles& angles) const {
  const double s = std::sin(angles.eta_rad);
  return ribbon_from_rig_.transpose() *
         Vec3(s * std::cos(angles.psi_rad), s * std::sin(angles.psi_rad), std::cos(angles.eta_rad));
}

Vec3 RibbonAxes::parallax(const RibbonAngles& angles) const {
  return direction({angles.psi_rad, angles.eta_rad + kPi / 2});
}

Vec3 RibbonAxes::sideways(const RibbonAngles& angles) const {
  return ribbon_from_rig_.transpose() *
         Vec3(-std::sin(angles.psi_rad), std::cos(angles.psi_rad), 0);
}

Vec3 RibbonAxes::parallax(const Vec3& direction_in_rig) const {
  const double cosine = direction_in_rig.dot(pole());
  const Vec3 beside = direction_in_rig - cosine * pole();
  const double sine = beside.norm();
  if (sine == 0) return Vec3::Zero();
  return (cosine / sine) * beside - sine * pole();
}

Vec3 RibbonGrid::direction(const Vec2& px) const {
  return axes.direction({psi_begin_rad + px.x() / px_per_rad, eta_begin_rad + px.y() / px_per_rad});
}

Vec2 RibbonGrid::position(const Vec3& direction_in_rig) const {
  const RibbonAngles at = axes.angles(direction_in_rig);
  return {wrapped((at.psi_rad - psi_begin_rad) * px_per_rad, 2 * kPi * px_per_rad),
          (at.eta_rad - eta_begin_rad) * px_per_rad};
}

std::optional<PairOverlap> overlap_of(const Rig& rig, int a, int b, double px_per_rad,
                                      double margin_rad) {
  const MountedLens& lens_a = rig.lenses[static_cast<std::size_t>(a)];
  const MountedLens& lens_b = rig.lenses[static_cast<std::size_t>(b)];
  const RibbonAxes axes = RibbonAxes::of_pair(rig, a, b);
  constexpr int kPsiSteps = 720;
  constexpr int kEtaSteps = 720;
  std::vector<char> psi_used(kPsiSteps, 0);
  int eta_low = kEtaSteps;
  int eta_high = -1;
  const Sees a_sees(lens_a, margin_rad);
  const Sees b_sees(lens_b, margin_rad);
  for (int i = 0; i < kPsiSteps; ++i) {
    const double psi = -kPi + 2 * kPi * (i + 0.5) / kPsiSteps;
    const Vec3 equator = axes.direction({psi, kPi / 2});
    for (int j = 0; j < kEtaSteps; ++j) {
      const double eta = kPi * (j + 0.5) / kEtaSteps;
      const Vec3 d = std::sin(eta) * equator + std::cos(eta) * axes.pole();
      if (!a_sees.toward(d) || !b_sees.toward(d)) continue;
      if (!a_sees.inside_frame(d) || !b_sees.inside_frame(d)) continue;
      psi_used[static_cast<std::size_t>(i)] = 1;
      eta_low = std::min(eta_low, j);
      eta_high = std::max(eta_high, j);
    }
  }
  if (eta_high < 0) return std::nullopt;
  if (px_per_rad <= 0) {
    px_per_rad = std::max(lens_a.lens.peak_px_per_rad(), lens_b.lens.peak_px_per_rad());
  }
  const Arc arc = covered_arc_closed(psi_used);
  const bool closed = arc.length == kPsiSteps;
  RibbonGrid grid{.axes = axes};
  if (closed) {
    grid.width_px = std::max(16, static_cast<int>(std::lround(2 * kPi * px_per_rad / 16)) * 16);
    px_per_rad = grid.width_px / (2 * kPi);
  } else {
    grid.psi_begin_rad = -kPi + 2 * kPi * arc.begin / kPsiSteps;
    grid.width_px = static_cast<int>(std::ceil(2 * kPi * arc.length / kPsiSteps * px_per_rad));
  }
  grid.closed = closed;
  grid.px_per_rad = px_per_rad;
  grid.eta_begin_rad = kPi * eta_low / kEtaSteps;
  grid.height_px = std::max(
      1, static_cast<int>(std::ceil(kPi * (eta_high + 1 - eta_low) / kEtaSteps * px_per_rad)));
  return PairOverlap{a, b, grid};
}

std::optional<RibbonGrid> matching_grid(const Rig& rig, int lens_a, int lens_b, double margin_rad,
                                        double reach_rad) {
  const double px_per_rad =
      std::max(radial_px_per_rad(rig.lenses[static_cast<std::size_t>(lens_a)].lens),
               radial_px_per_rad(rig.lenses[static_cast<std::size_t>(lens_b)].lens));
  const auto overlap = overlap_of(rig, lens_a, lens_b, px_per_rad, margin_rad);
  if (!overlap) return std::nullopt;
  RibbonGrid grid = overlap->grid;
  const double pole_margin = std::asin(kLeastSinEta);
  const double eta_end = std::min(grid.eta_begin_rad + grid.height_px / grid.px_per_rad + reach_rad,
                                  kPi - pole_margin);
  grid.eta_begin_rad = std::max(grid.eta_begin_rad - reach_rad, pole_margin);
  grid.height_px = static_cast<int>(std::ceil((eta_end - grid.eta_begin_rad) * grid.px_per_rad));
  if (grid.width_px < kLeastWidth_px || grid.height_px < kLeastHeight_px) return std::nullopt;
  return grid;
}

}  // namespace seamwright
