#include "compose/render/seam_hints.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>

#include "base/parallel.h"
#include "compose/seams/baseline_view.h"
#include "compose/seams/seam_views.h"

namespace seamwright {

namespace {

SeamWish wish_of(const SeamStroke& stroke, const LensPair& pair) {
  switch (stroke.wish) {
    case StrokeWish::away:
      return SeamWish::forbidden;
    case StrokeWish::here:
      return SeamWish::preferred;
    case StrokeWish::lens:
      if (stroke.lens == pair.a) return SeamWish::from_a;
      return stroke.lens == pair.b ? SeamWish::from_b : SeamWish::none;
  }
  return SeamWish::none;
}

bool touches(const SeamStroke& stroke, const RibbonGrid& grid) {
  const double end = grid.eta_begin_rad + grid.height_px / grid.px_per_rad;
  // A great circle between two places may bulge towards the ribbon by no more than a quarter turn;
  // only strokes of one place can be told off at once.
  if (stroke.path.size() > 1) return true;
  const double eta = grid.axes.angles(stroke.path.front().direction()).eta_rad;
  return eta > grid.eta_begin_rad - stroke.reach_rad && eta < end + stroke.reach_rad;
}

std::optional<RibbonAngles> sighted(const Tie& tie, int lens, const Rig& rig,
                                    const RibbonGrid& grid) {
  for (const TieSight& sight : tie.sights) {
    if (sight.lens != lens || sight.shot != kOwnShot) continue;
    const auto direction = rig.lenses[static_cast<std::size_t>(lens)].direction_in_rig(sight.px);
    if (!direction) return std::nullopt;
    return grid.axes.angles(*direction);
  }
  return std::nullopt;
}

}  // namespace

Image wish_raster(std::span<const SeamStroke> strokes, const RibbonGrid& grid,
                  const LensPair& pair) {
  std::vector<const SeamStroke*> used;
  for (const SeamStroke& stroke : strokes) {
    if (wish_of(stroke, pair) != SeamWish::none && touches(stroke, grid)) used.push_back(&stroke);
  }
  if (used.empty()) return {};
  Image raster(grid.width_px, grid.height_px, Channels::grey, SampleType::u8);
  parallel_for(0, grid.height_px, [&](int y) {
    const auto row = raster.row<std::uint8_t>(y);
    for (int x = 0; x < grid.width_px; ++x) {
      const Vec3 direction = grid.direction({x + 0.5, y + 0.5});
      for (const SeamStroke* stroke : used) {
        if (!stroke->covers(direction)) continue;
        row[static_cast<std::size_t>(x)] = static_cast<std::uint8_t>(wish_of(*stroke, pair));
      }
    }
  });
  return raster;
}

std::vector<DepthAnchor> depth_anchors(std::span<const Tie> ties, const Rig& rig,
                                       const LensPair& pair, const RibbonGrid& grid) {
  const double half = half_baseline(rig.lenses[static_cast<std::size_t>(pair.a)],
                                    rig.lenses[static_cast<std::size_t>(pair.b)], grid);
  std::vector<DepthAnchor> anchors;
  for (const Tie& tie : ties) {
    const auto by_a = sighted(tie, pair.a, rig, grid);
    const auto by_b = sighted(tie, pair.b, rig, grid);
    if (!by_a || !by_b) continue;
    const double inverse =
        tie.range == TieRange::far ? 0.0 : inverse_distance(half, by_a->eta_rad, by_b->eta_rad);
    const double eta = 0.5 * (eta_seen_from(0, half, by_a->eta_rad, inverse) +
                              eta_seen_from(0, -half, by_b->eta_rad, inverse));
    const double psi = by_a->psi_rad + 0.5 * std::remainder(by_b->psi_rad - by_a->psi_rad, 2 * kPi);
    anchors.push_back({grid.axes.direction({psi, eta}), inverse});
  }
  return anchors;
}

}  // namespace seamwright
