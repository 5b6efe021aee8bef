#include "solver/tie_fit.h"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

namespace seamwright {

namespace {

// The pair's own view: both lenses' directions of the tie, taken apart on their ribbon.
std::optional<TouchTie> meet_pair(const Rig& rig, const Tie& tie, const TieSight& a,
                                  const TieSight& b) {
  const auto d_a = rig.lenses[static_cast<std::size_t>(a.lens)].direction_in_rig(a.px);
  const auto d_b = rig.lenses[static_cast<std::size_t>(b.lens)].direction_in_rig(b.px);
  if (!d_a || !d_b) return std::nullopt;
  const RibbonAxes axes = RibbonAxes::of_pair(rig, a.lens, b.lens);
  const RibbonAngles at = axes.angles((*d_a + *d_b).normalized());
  const Vec3 gap = *d_a - *d_b;
  const double px_per_rad = rig.peak_px_per_rad();
  const double disparity_rad = gap.dot(axes.parallax(at));
  TouchTie met;
  met.psi_rad = at.psi_rad;
  met.lens_a = a.lens;
  met.lens_b = b.lens;
  met.before.sideways_px = px_per_rad * gap.dot(axes.sideways(at));
  met.before.parallax_px =
      px_per_rad * (tie.range == TieRange::far ? disparity_rad : std::min(0.0, disparity_rad));
  if (disparity_rad > 0) {
    met.before.distance_m =
        rig.baseline(a.lens, b.lens).norm() * std::sin(at.eta_rad) / disparity_rad;
  }
  return met;
}

}  // namespace

std::optional<TouchTie> meet_tie(const Rig& rig, const Tie& tie, const DepthKnowledge& depth) {
  const TiePoint point = locate_tie(rig, tie, true);
  if (!point.usable) return std::nullopt;
  std::optional<TouchTie> worst;
  double worst_px = -1;
  for (std::size_t i = 0; i < tie.sights.size(); ++i) {
    for (std::size_t j = i + 1; j < tie.sights.size(); ++j) {
      const auto met = meet_pair(rig, tie, tie.sights[i], tie.sights[j]);
      if (!met) return std::nullopt;
      const double px = std::hypot(met->before.parallax_px, met->before.sideways_px);
      if (px <= worst_px) continue;
      worst_px = px;
      worst = met;
    }
  }
  if (!worst) return std::nullopt;
  const SharedTerms none(rig.lens_count(), [](int, int) { return false; });
  worst->before.sigmas = reduce_tie(rig, tie, point, none, depth).residual.norm();
  return worst;
}

std::string azimuth_in_words(const Rig& rig, int lens_a, int lens_b, double psi_rad) {
  const RibbonAxes axes = RibbonAxes::of_pair(rig, lens_a, lens_b);
  const MountedLens& mounted = rig.lenses[static_cast<std::size_t>(lens_a)];
  const Vec3 in_lens =
      mounted.rig_from_lens.conjugate() * axes.direction({psi_rad, rad_from_deg(90)});
  constexpr std::array<std::string_view, 8> kSides = {
      "right", "lower right", "below", "lower left", "left", "upper left", "above", "upper right"};
  const double eighths = std::atan2(in_lens.y(), in_lens.x()) / (kPi / 4);
  const auto side = static_cast<std::size_t>((std::lround(eighths) + 8) % 8);
  return fmt::format("{:.0f} degrees ({}, as lens {} sees it)", deg_from_rad(psi_rad), kSides[side],
                     lens_a);
}

}  // namespace seamwright
