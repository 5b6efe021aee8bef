#include "compose/render/seam_plan.h"

#include <algorithm>
#include <cstddef>
#include <utility>

#include "compose/render/common_field.h"
#include "compose/render/meeting_pairs.h"
#include "compose/render/pair_ribbon.h"
#include "compose/render/render.h"
#include "compose/render/seam_hints.h"
#include "compose/render/seam_route.h"

namespace seamwright {

namespace {

// Every lens is read as at infinity, and shows whatever is there.
void stand_still(ViewWarp& warp) {
  for (int y = 0; y < warp.grid.height_px; ++y) {
    std::ranges::fill(warp.shift_a_rad.row<float>(y), 0.0F);
    std::ranges::fill(warp.shift_b_rad.row<float>(y), 0.0F);
    std::ranges::fill(warp.seen_by.row<std::uint8_t>(y), std::uint8_t{kSeenByA | kSeenByB});
  }
}

// A pair's warp and the walk it was made for.
struct PairWalk {
  ViewWarp warp;
  ViewpointSlide slide;
};

Result<PairWalk> pair_walk(const Rig& rig, const std::vector<LensMap>& maps,
                           const std::vector<LensView>& views, const PairRibbon& pair,
                           const SeamOptions& options) {
  const auto depth = ribbon_depth(
      views[static_cast<std::size_t>(pair.a)], views[static_cast<std::size_t>(pair.b)], pair.grid,
      rig.metric, options.depth, depth_anchors(options.ties, rig, {pair.a, pair.b}, pair.grid));
  if (!depth) return tl::unexpected(depth.error());
  const CommonField field(maps, pair.a, pair.b, pair.grid.axes);
  const ViewpointSlide slide(depth->half_baseline_m, depth->grid, slide_columns(field, depth->grid),
                             options.slide);
  ViewWarp warp = view_warp(*depth, slide);
  if (!options.walk) stand_still(warp);
  return PairWalk{std::move(warp), slide};
}

// Pairs that have something to gain.
std::vector<PairRibbon> pair_ribbons(const Rig& rig, const std::vector<LensMap>& maps,
                                     const SeamOptions& options) {
  std::vector<PairRibbon> pairs;
  for (const auto& [a, b] : meeting_pairs(rig)) {
    if (auto pair = pair_ribbon(rig, maps, a, b, options)) pairs.push_back(*pair);
  }
  return pairs;
}

}  // namespace

Result<SeamPlan> plan_seams(const Rig& rig, std::span<const Frame> frames,
                            const SeamOptions& options, const ProgressFn& progress) {
  if (const auto shape = panorama_shape(rig, frames, {}); !shape) {
    return tl::unexpected(shape.error());
  }
  if (auto error = options.depth.validate()) return fail(std::move(*error));
  const auto transfer = TransferCurve::of(frames[0].image);
  if (!transfer) return tl::unexpected(transfer.error());
  const Rig sized = rig.scaled_to(frames[0].image.width(), frames[0].image.height());
  const std::vector<LensMap> maps(sized.lenses.begin(), sized.lenses.end());
  if (!tell(progress, "finding depth", 0)) return fail(stopped_while("planning seams"));
  const std::vector<PairRibbon> pairs = pair_ribbons(sized, maps, options);
  const RibbonFrames ribbons = ribbon_frames(sized, maps, frames, pairs);
  SeamPlan plan;
  plan.gains =
      options.gain_match ? match_gains(sized, frames, *transfer) : unit_gains(sized.lens_count());
  const double steps = 2.0 * static_cast<double>(pairs.size());
  for (std::size_t i = 0; i < pairs.size(); ++i) {
    const double done = 2.0 * static_cast<double>(i);
    if (!tell(progress, "finding depth", done / steps)) {
      return fail(stopped_while("planning seams"));
    }
    auto walk = pair_walk(sized, maps, ribbons.views, pairs[i], options);
    if (!walk) return tl::unexpected(walk.error());
    if (!tell(progress, "routing seams", (done + 1) / steps)) {
      return fail(stopped_while("planning seams"));
    }
    PairSeam pair{.lens_a = pairs[i].a, .lens_b = pairs[i].b, .warp = std::move(walk->warp)};
    if (auto routed = route_seam(pair, walk->slide, ribbons, plan.gains, *transfer, options);
        !routed) {
      return tl::unexpected(routed.error());
    }
    plan.pairs.push_back(std::move(pair));
  }
  return plan;
}

}  // namespace seamwright
