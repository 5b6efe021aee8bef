#include "compose/render/pair_ribbon.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <utility>

#include "base/parallel.h"
#include "compose/render/common_field.h"
#include "compose/seams/baseline_view.h"
#include "imaging/resize.h"

namespace seamwright {

namespace {

constexpr double kLeastBaseline_m = 1e-4;  // shorter ones show no parallax

// By how much frames can be shrunk for all ribbons: whole pixels, none left over.
int shrinking(const std::vector<LensMap>& maps, std::span<const Frame> frames,
              const std::vector<PairRibbon>& pairs) {
  double least = std::numeric_limits<double>::max();
  for (const PairRibbon& pair : pairs) {
    const double a = maps[static_cast<std::size_t>(pair.a)].typical_px_per_rad();
    const double b = maps[static_cast<std::size_t>(pair.b)].typical_px_per_rad();
    least = std::min(least, pair.coarser * std::min(a, b) / std::max(a, b));
  }
  constexpr double kRounding = 0.01;  // two lenses of one make are not quite equal
  int factor = pairs.empty() ? 1 : std::max(1, static_cast<int>(least + kRounding));
  const auto leaves_none = [&](const Frame& frame) {
    return frame.image.width() % factor == 0 && frame.image.height() % factor == 0;
  };
  while (!std::ranges::all_of(frames, leaves_none)) --factor;
  return factor;
}

}  // namespace

std::optional<PairRibbon> pair_ribbon(const Rig& rig, const std::vector<LensMap>& maps, int a,
                                      int b, const SeamOptions& options) {
  const auto whole = matching_grid(rig, a, b, kFieldMargin_rad);
  if (!whole) return std::nullopt;
  const double half = half_baseline(rig.lenses[static_cast<std::size_t>(a)],
                                    rig.lenses[static_cast<std::size_t>(b)], *whole);
  if (2 * half < kLeastBaseline_m) return std::nullopt;
  const double nearest = options.depth.nearest(rig.metric);
  const double most_shift = std::asin(std::min(1.0, 2 * half / nearest));
  constexpr int kLeastHeight_px = 16;
  const RibbonGrid grid =
      cropped(*whole, CommonField(maps, a, b, whole->axes), most_shift, options.slide);
  if (grid.height_px < kLeastHeight_px) return std::nullopt;
  const RibbonGrid raster =
      nearest > half ? depth_raster(grid, half, nearest, options.depth) : grid;
  return PairRibbon{a, b, raster, whole->px_per_rad / raster.px_per_rad};
}

RibbonFrames ribbon_frames(const Rig& rig, const std::vector<LensMap>& maps,
                           std::span<const Frame> frames, const std::vector<PairRibbon>& pairs) {
  const int factor = shrinking(maps, frames, pairs);
  const Image& first = frames.front().image;
  RibbonFrames of{.rig = rig.scaled_to(first.width() / factor, first.height() / factor)};
  std::vector<std::optional<LensView>> views(frames.size());
  if (factor > 1) of.shrunk.resize(frames.size());
  parallel_for(0, static_cast<int>(frames.size()), [&](int lens) {
    const auto i = static_cast<std::size_t>(lens);
    if (factor > 1) of.shrunk[i] = shrunk(frames[i].image, factor);
    views[i].emplace(match_plane(factor > 1 ? of.shrunk[i] : frames[i].image), of.rig.lenses[i],
                     std::span(kMatchLevels).first(1));
  });
  for (std::size_t i = 0; i < frames.size(); ++i) {
    of.images.push_back(factor > 1 ? &of.shrunk[i] : &frames[i].image);
    of.views.push_back(std::move(*views[i]));
  }
  return of;
}

}  // namespace seamwright
