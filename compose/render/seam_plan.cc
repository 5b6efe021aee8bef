#include "compose/render/seam_plan.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <utility>

#include "base/parallel.h"
#include "base/smooth_step.h"
#include "compose/render/render.h"
#include "compose/render/ribbon_views.h"
#include "compose/render/seam_hints.h"
#include "compose/seams/baseline_view.h"
#include "compose/seams/moved_views.h"
#include "imaging/shrink.h"
#include "projection/equirect.h"
#include "sampling/lens_map.h"

namespace seamwright {

namespace {

constexpr double kMargin_rad = rad_from_deg(0.5);  // kept free at the rim of the fields of view
constexpr double kLeastBaseline_m = 1e-4;          // shorter ones show no parallax
constexpr double kLeastEta_rad = rad_from_deg(3);
constexpr int kEtaSteps = 348;    // half a degree each
constexpr int kOverlapStep = 16;  // columns between which an overlap's borders are straight

std::vector<LensMap> maps_of(const Rig& rig) { return {rig.lenses.begin(), rig.lenses.end()}; }

// Fields of view around one ribbon's azimuths.
class OverlapFinder {
 public:
  OverlapFinder(const std::vector<LensMap>& maps, int a, int b, const RibbonAxes& axes)
      : maps_(maps), a_(a), b_(b), axes_(axes) {}

  // Where both lenses see at an azimuth, around where the lesser margin is largest. Strength is 1
  // unless a third lens sees the middle as well, or better: there the seams of several pairs meet,
  // and a walk between two of them would tear from the third.
  [[nodiscard]] SlideColumn at(double psi_rad) const {
    std::vector<double> lesser(kEtaSteps + 1);
    for (int i = 0; i <= kEtaSteps; ++i) lesser[static_cast<std::size_t>(i)] = both(psi_rad, i);
    const auto best = std::max_element(lesser.begin(), lesser.end());
    if (*best <= 0) return {};
    const auto middle = static_cast<int>(best - lesser.begin());
    SlideColumn column{.begin_rad = eta_of(border(lesser, middle, -1)),
                       .end_rad = eta_of(border(lesser, middle, 1))};
    const double eta = 0.5 * (column.begin_rad + column.end_rad);
    column.strength = strength(axes_.direction({psi_rad, eta}));
    return column;
  }

 private:
  static double eta_of(double step) {
    return kLeastEta_rad + step * (kPi - 2 * kLeastEta_rad) / kEtaSteps;
  }
  [[nodiscard]] double margin(int lens, const Vec3& direction) const {
    return maps_[static_cast<std::size_t>(lens)].margin_rad(direction) - kMargin_rad;
  }
  [[nodiscard]] double both(double psi_rad, int step) const {
    const Vec3 direction = axes_.direction({psi_rad, eta_of(step)});
    return std::min(margin(a_, direction), margin(b_, direction));
  }
  // The step, with a fraction, at which the lesser margin becomes 0.
  static double border(const std::vector<double>& lesser, int from, int way) {
    const int end = static_cast<int>(lesser.size());
    int i = from;
    while (i + way >= 0 && i + way < end && lesser[static_cast<std::size_t>(i + way)] > 0) i += way;
    if (i + way < 0 || i + way >= end) return i;
    const double inside = lesser[static_cast<std::size_t>(i)];
    const double outside = lesser[static_cast<std::size_t>(i + way)];
    return i + way * inside / (inside - outside);
  }
  [[nodiscard]] double strength(const Vec3& direction) const {
    constexpr double kWhole_rad = rad_from_deg(12);  // by which a third lens must trail
    constexpr double kNone_rad = rad_from_deg(2);
    const double own = std::min(margin(a_, direction), margin(b_, direction));
    double least = 1;
    for (int lens = 0; lens < static_cast<int>(maps_.size()); ++lens) {
      if (lens == a_ || lens == b_) continue;
      const double lead = own - std::max(0.0, margin(lens, direction));
      const bool blind = margin(lens, direction) < -kWhole_rad;
      if (!blind)
        least = std::min(least, level_step((lead - kNone_rad) / (kWhole_rad - kNone_rad)));
    }
    return least;
  }

  const std::vector<LensMap>& maps_;
  int a_;
  int b_;
  const RibbonAxes& axes_;
};

// The overlap column by column: asked for in some, straight between those that have one.
std::vector<SlideColumn> slide_columns(const OverlapFinder& overlap, const RibbonGrid& grid) {
  const auto asked = [&](double x_px) {
    return overlap.at(grid.psi_begin_rad + (x_px + 0.5) / grid.px_per_rad);
  };
  const int steps = (grid.width_px + kOverlapStep - 1) / kOverlapStep;
  std::vector<SlideColumn> node(static_cast<std::size_t>(steps + 1));
  parallel_for(0, steps + 1,
               [&](int i) { node[static_cast<std::size_t>(i)] = asked(1.0 * i * kOverlapStep); });
  std::vector<SlideColumn> columns(static_cast<std::size_t>(grid.width_px));
  parallel_for(0, grid.width_px, [&](int x) {
    const SlideColumn& from = node[static_cast<std::size_t>(x / kOverlapStep)];
    const SlideColumn& to = node[static_cast<std::size_t>(x / kOverlapStep + 1)];
    SlideColumn& column = columns[static_cast<std::size_t>(x)];
    if (from.strength <= 0 || to.strength <= 0) {
      column = asked(x);
      return;
    }
    const double t = 1.0 * (x % kOverlapStep) / kOverlapStep;
    column = {.begin_rad = std::lerp(from.begin_rad, to.begin_rad, t),
              .end_rad = std::lerp(from.end_rad, to.end_rad, t),
              .strength = std::lerp(from.strength, to.strength, t)};
  });
  return columns;
}

// The rows that the walk needs: its own, and as many more as the nearest thing can shift.
RibbonGrid cropped(RibbonGrid grid, const OverlapFinder& overlap, double most_shift_rad,
                   const SlideOptions& options) {
  constexpr int kAzimuths = 360;
  const double span = grid.width_px / grid.px_per_rad;
  std::array<SlideColumn, kAzimuths> columns;
  parallel_for(0, kAzimuths, [&](int i) {
    columns[static_cast<std::size_t>(i)] =
        overlap.at(grid.psi_begin_rad + span * (i + 0.5) / kAzimuths);
  });
  double low = kPi;
  double high = 0;
  for (const SlideColumn& column : columns) {
    if (column.strength <= 0) continue;
    const double middle = 0.5 * (column.begin_rad + column.end_rad);
    low = std::min(low, std::max(column.begin_rad, middle - options.most_half_width_rad));
    high = std::max(high, std::min(column.end_rad, middle + options.most_half_width_rad));
  }
  const int first = static_cast<int>((low - most_shift_rad - grid.eta_begin_rad) * grid.px_per_rad);
  const int last = static_cast<int>((high + most_shift_rad - grid.eta_begin_rad) * grid.px_per_rad);
  const int begin = std::clamp(first, 0, grid.height_px);
  const int end = std::clamp(last + 1, begin, grid.height_px);
  grid.eta_begin_rad += begin / grid.px_per_rad;
  grid.height_px = end - begin;
  return grid;
}

// Every lens is read as at infinity, and shows whatever is there.
void stand_still(ViewWarp& warp) {
  for (int y = 0; y < warp.grid.height_px; ++y) {
    std::ranges::fill(warp.shift_a_rad.row<float>(y), 0.0F);
    std::ranges::fill(warp.shift_b_rad.row<float>(y), 0.0F);
    std::ranges::fill(warp.seen_by.row<std::uint8_t>(y), std::uint8_t{kSeenByA | kSeenByB});
  }
}

// Two lenses and the ribbon in which they are joined.
struct PairRibbon {
  int a = 0;
  int b = 0;
  RibbonGrid grid;
  double coarser = 1;  // than the finer of both lenses, at least 1
};

// Empty where there is nothing to gain.
std::optional<PairRibbon> pair_ribbon(const Rig& rig, const std::vector<LensMap>& maps, int a,
                                      int b, const SeamOptions& options) {
  const auto whole = matching_grid(rig, a, b, kMargin_rad);
  if (!whole) return std::nullopt;
  const double half = half_baseline(rig.lenses[static_cast<std::size_t>(a)],
                                    rig.lenses[static_cast<std::size_t>(b)], *whole);
  if (2 * half < kLeastBaseline_m) return std::nullopt;
  const double nearest = options.depth.nearest(rig.metric);
  const double most_shift = std::asin(std::min(1.0, 2 * half / nearest));
  constexpr int kLeastHeight_px = 16;
  const RibbonGrid grid =
      cropped(*whole, OverlapFinder(maps, a, b, whole->axes), most_shift, options.slide);
  if (grid.height_px < kLeastHeight_px) return std::nullopt;
  const RibbonGrid raster =
      nearest > half ? depth_raster(grid, half, nearest, options.depth) : grid;
  return PairRibbon{a, b, raster, whole->px_per_rad / raster.px_per_rad};
}

// Frames no finer than the ribbons need, and the rig that fits them.
struct RibbonFrames {
  Rig rig;
  std::vector<Image> shrunk = {};         // empty where the frames are as coarse already
  std::vector<const Image*> images = {};  // what to read
  std::vector<LensView> views = {};       // what to match
};

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

RibbonFrames ribbon_frames(const Rig& rig, std::span<const Frame> frames, int factor) {
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
  const OverlapFinder overlap(maps, pair.a, pair.b, pair.grid.axes);
  const ViewpointSlide slide(depth->half_baseline_m, depth->grid,
                             slide_columns(overlap, depth->grid), options.slide);
  ViewWarp warp = view_warp(*depth, slide);
  if (!options.walk) stand_still(warp);
  return PairWalk{std::move(warp), slide};
}

// A seam down the middle of what both lenses see.
SeamPath middle_path(const SeamViews& views) {
  SeamPath path{.closed = views.closed};
  for (int x = 0; x < views.light_a.width(); ++x) {
    const SeamRoom room = seam_room(views, x);
    path.row_px.push_back(0.5F * static_cast<float>(room.top + room.bottom));
  }
  return path;
}

// A map of the moving subjects that are large enough to spoil the depth; empty if there is none.
Image large_subjects(const SeamViews& views, const SeamOptions& options) {
  const MovingSubjects subjects =
      moving_subjects(views, view_disagreement(views), options.path.subjects);
  const int width = views.light_a.width();
  Image map(width, views.light_a.height(), Channels::grey, SampleType::u8);
  bool any = false;
  for (const MovingSubject& subject : subjects.found) {
    if (subject.pixels < options.calm_px) continue;
    any = true;
    for (int x = subject.left; x < subject.right; ++x) {
      const auto i = static_cast<std::size_t>(x - subject.left);
      for (int y = subject.outline_top[i]; y < subject.outline_bottom[i]; ++y) {
        map.row<std::uint8_t>(y)[static_cast<std::size_t>(x % width)] = 1;
      }
    }
  }
  return any ? std::move(map) : Image();
}

// Where the seam runs between the warped views, and what blends them.
Result<void> route(PairSeam& pair, const ViewpointSlide& slide, const RibbonFrames& frames,
                   const GainMatch& gains, const TransferCurve& transfer,
                   const SeamOptions& options) {
  const auto reader = [&](int lens) {
    const auto i = static_cast<std::size_t>(lens);
    const MountedLens& mounted = frames.rig.lenses[i];
    // A kernel that is all but as fine as the frame is much cheaper where it is quite as fine.
    constexpr double kAllBut = 1.2;
    const double finest = LensMap(mounted).typical_px_per_rad();
    const double scale = pair.warp.grid.px_per_rad;
    return LensReader(mounted, *frames.images[i], ResampleKernel::catmull_rom,
                      finest < kAllBut * scale ? finest : scale, transfer, gains.gains[i]);
  };
  const LensReader a = reader(pair.lens_a);
  const LensReader b = reader(pair.lens_b);
  SeamViews views = ribbon_views(a, b, pair.warp, ViewKind::warped);
  // Read calmly, a subject shows its whole outline.
  constexpr int kCalmRounds = 2;
  for (int round = 0; round < kCalmRounds && options.walk; ++round) {
    const Image gaps = large_subjects(views, options);
    if (gaps.empty()) break;
    read_again(a, b, pair.warp, calm_warp(pair.warp, slide, gaps), views);
  }
  for (int round = 0; round < options.polish_rounds && options.walk; ++round) {
    const ViewShifts read{pair.warp.shift_a_rad, pair.warp.shift_b_rad};
    if (auto done = polish_warp(pair.warp, slide, views, options.polish); !done) return done;
    move_views(views, read, pair.warp);
  }
  views.wish = wish_raster(options.strokes, pair.warp.grid, {pair.lens_a, pair.lens_b});
  auto path = options.route ? seam_path(views, options.path) : Result<SeamPath>(middle_path(views));
  if (!path) return tl::unexpected(path.error());
  pair.path = std::move(*path);
  if (options.join) {
    auto blend = band_blend(views, pair.path, options.blend);
    if (!blend) return tl::unexpected(blend.error());
    pair.blend.emplace(std::move(*blend));
  }
  if (options.keep_views) {
    pair.views = std::move(views);
    pair.unwarped = ribbon_views(a, b, pair.warp, ViewKind::at_infinity);
  }
  return {};
}

}  // namespace

std::vector<std::pair<int, int>> meeting_pairs(const Rig& rig) {
  constexpr int kSide = 90;
  const std::vector<LensMap> maps = maps_of(rig);
  const int count = rig.lens_count();
  std::vector<int> best(static_cast<std::size_t>(2 * kSide * kSide), -1);
  const Equirect raster{2 * kSide, kSide};
  for (int y = 0; y < kSide; ++y) {
    for (int x = 0; x < 2 * kSide; ++x) {
      double most = 0;
      for (int lens = 0; lens < count; ++lens) {
        const double margin =
            maps[static_cast<std::size_t>(lens)].margin_rad(raster.direction({x + 0.5, y + 0.5}));
        if (margin <= most) continue;
        most = margin;
        best[static_cast<std::size_t>(y * 2 * kSide + x)] = lens;
      }
    }
  }
  std::vector<double> border(
      static_cast<std::size_t>(count * count));  // length, steps of 2 degrees
  const auto meet = [&](int one, int other, double length) {
    if (one < 0 || other < 0 || one == other) return;
    border[static_cast<std::size_t>(std::min(one, other) * count + std::max(one, other))] += length;
  };
  for (int y = 0; y < kSide; ++y) {
    for (int x = 0; x < 2 * kSide; ++x) {
      const int here = best[static_cast<std::size_t>(y * 2 * kSide + x)];
      meet(here, best[static_cast<std::size_t>(y * 2 * kSide + (x + 1) % (2 * kSide))], 1);
      if (y + 1 == kSide) continue;
      meet(here, best[static_cast<std::size_t>((y + 1) * 2 * kSide + x)],
           std::sin(kPi * (y + 1) / kSide));
    }
  }
  constexpr double kLeastBorder = 8;  // less is where more than two lenses meet
  std::vector<std::pair<int, int>> pairs;
  for (int a = 0; a < count; ++a) {
    for (int b = a + 1; b < count; ++b) {
      if (border[static_cast<std::size_t>(a * count + b)] >= kLeastBorder) pairs.emplace_back(a, b);
    }
  }
  return pairs;
}

Result<SeamPlan> plan_seams(const Rig& rig, std::span<const Frame> frames,
                            const SeamOptions& options, const ProgressFn& progress) {
  if (const auto shape = panorama_shape(rig, frames, {}); !shape) {
    return tl::unexpected(shape.error());
  }
  if (auto error = options.depth.validate()) return fail(std::move(*error));
  const auto transfer = TransferCurve::of(frames[0].image);
  if (!transfer) return tl::unexpected(transfer.error());
  const Rig sized = rig.scaled_to(frames[0].image.width(), frames[0].image.height());
  const std::vector<LensMap> maps = maps_of(sized);
  if (!tell(progress, "finding depth", 0)) return fail(stopped_while("planning seams"));
  std::vector<PairRibbon> pairs;
  for (const auto& [a, b] : meeting_pairs(sized)) {
    if (auto pair = pair_ribbon(sized, maps, a, b, options)) pairs.push_back(*pair);
  }
  const RibbonFrames ribbons = ribbon_frames(sized, frames, shrinking(maps, frames, pairs));
  SeamPlan plan;
  plan.gains =
      options.gain_match ? match_gains(sized, frames, *transfer) : unit_gains(sized.lens_count());
  double done = 0;
  for (const PairRibbon& ribbon : pairs) {
    if (!tell(progress, "finding depth", done / static_cast<double>(pairs.size()))) {
      return fail(stopped_while("planning seams"));
    }
    auto walk = pair_walk(sized, maps, ribbons.views, ribbon, options);
    if (!walk) return tl::unexpected(walk.error());
    done += 0.5;
    if (!tell(progress, "routing seams", done / static_cast<double>(pairs.size()))) {
      return fail(stopped_while("planning seams"));
    }
    done += 0.5;
    PairSeam pair{.lens_a = ribbon.a, .lens_b = ribbon.b, .warp = std::move(walk->warp)};
    if (auto routed = route(pair, walk->slide, ribbons, plan.gains, *transfer, options); !routed) {
      return tl::unexpected(routed.error());
    }
    plan.pairs.push_back(std::move(pair));
  }
  return plan;
}

}  // namespace seamwright
