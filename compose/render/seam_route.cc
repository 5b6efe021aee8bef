#include "compose/render/seam_route.h"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <utility>
#include <vector>

#include "compose/render/ribbon_views.h"
#include "compose/render/seam_hints.h"
#include "compose/seams/moved_views.h"
#include "compose/seams/torn_places.h"

namespace seamwright {

namespace {

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

LensReader ribbon_reader(const RibbonFrames& frames, int lens, double ribbon_px_per_rad,
                         const GainMatch& gains, const TransferCurve& transfer) {
  const auto i = static_cast<std::size_t>(lens);
  const MountedLens& mounted = frames.rig.lenses[i];
  // A kernel that is all but as fine as the frame is much cheaper where it is quite as fine.
  constexpr double kAllBut = 1.2;
  const double finest = LensMap(mounted).typical_px_per_rad();
  const double wanted = finest < kAllBut * ribbon_px_per_rad ? finest : ribbon_px_per_rad;
  return {mounted, *frames.images[i], ResampleKernel::catmull_rom,
          wanted,  transfer,          gains.gains[i]};
}

// Takes the depth of moving subjects from beside them, a few times: read calmly, a subject shows
// its whole outline.
void calm_subjects(const LensReader& a, const LensReader& b, const ViewpointSlide& slide,
                   const SeamOptions& options, ViewWarp& warp, SeamViews& views) {
  constexpr int kCalmRounds = 2;
  for (int round = 0; round < kCalmRounds; ++round) {
    const Image gaps = large_subjects(views, options);
    if (gaps.empty()) return;
    read_again(a, b, warp, calm_warp(warp, slide, gaps), views);
  }
}

Result<void> polish(const ViewpointSlide& slide, const SeamOptions& options, ViewWarp& warp,
                    SeamViews& views) {
  for (int round = 0; round < options.polish_rounds; ++round) {
    const ViewShifts read{warp.shift_a_rad, warp.shift_b_rad};
    if (auto done = polish_warp(warp, slide, views, options.polish); !done) return done;
    move_views(views, read, warp);
  }
  return {};
}

Result<SeamPath> path_through(const SeamViews& views, const SeamOptions& options) {
  return options.route ? seam_path(views, options.path) : Result<SeamPath>(middle_path(views));
}

// Columns and rows around a torn place; columns may lie beyond a closed wrap.
struct Box {
  int left, right, top, bottom;
};
Box box_around(const TornPlace& place, const RibbonGrid& grid) {
  constexpr int kRoom_px = 3;
  Box box{place.left - kRoom_px, place.right + kRoom_px, std::max(0, place.top - kRoom_px),
          std::min(grid.height_px, place.bottom + kRoom_px)};
  if (!grid.closed) {
    box.left = std::max(0, box.left);
    box.right = std::min(grid.width_px, box.right);
  }
  return box;
}

template <class Visit>
void visit_box(const Box& box, int width, const Visit& visit) {
  for (int y = box.top; y < box.bottom; ++y) {
    for (int x = box.left; x < box.right; ++x) {
      visit(static_cast<std::size_t>((x + width) % width), y);
    }
  }
}

double torn_in(const Image& edges, const Box& box) {
  double sum = 0;
  visit_box(box, edges.width(),
            [&](std::size_t x, int y) { sum += static_cast<double>(edges.row<float>(y)[x]); });
  return sum;
}

// What is joined, and what each lens shows by itself.
struct Joined {
  ViewWarp& warp;
  SeamViews& views;
  SeamPath& path;
  const SeamViews& unwarped;

  [[nodiscard]] Image edges() const { return torn_edges({warp, unwarped, path}); }
};

// Takes the depth of torn places from beside them, where that leaves less than half of what is
// torn there: then each lens shows the place whole. Returns what is torn still.
Result<std::vector<TornPlace>> mend_tears(const LensReader& a, const LensReader& b,
                                          const ViewpointSlide& slide, const SeamOptions& options,
                                          Joined joined) {
  constexpr double kBetter = 0.5;
  constexpr int kTrials = 2;  // all of them; then those that the first trial helped
  const RibbonGrid& grid = joined.warp.grid;
  const Image before = joined.edges();
  std::vector<TornPlace> found = torn_places(before, grid.closed);
  std::vector<TornPlace> places = found;
  for (int trial = 0; trial < kTrials && !places.empty(); ++trial) {
    Image gaps(grid.width_px, grid.height_px, Channels::grey, SampleType::u8);
    for (const TornPlace& place : places) {
      visit_box(box_around(place, grid), grid.width_px,
                [&](std::size_t x, int y) { gaps.row<std::uint8_t>(y)[x] = 1; });
    }
    ViewWarp warp = joined.warp;
    SeamViews views = joined.views;
    read_again(a, b, warp, calm_warp(warp, slide, gaps), views);
    auto path = path_through(views, options);
    if (!path) return tl::unexpected(path.error());
    const Image after = torn_edges({warp, joined.unwarped, *path});
    const std::size_t tried = places.size();
    std::erase_if(places, [&](const TornPlace& place) {
      const Box box = box_around(place, grid);
      return torn_in(after, box) > kBetter * torn_in(before, box);
    });
    if (places.size() < tried) continue;
    joined.warp = std::move(warp);
    joined.views = std::move(views);
    joined.path = std::move(*path);
    return torn_places(after, grid.closed);
  }
  return found;
}

}  // namespace

Result<void> route_seam(PairSeam& pair, const ViewpointSlide& slide, const RibbonFrames& frames,
                        const GainMatch& gains, const TransferCurve& transfer,
                        const SeamOptions& options) {
  const double px_per_rad = pair.warp.grid.px_per_rad;
  const LensReader a = ribbon_reader(frames, pair.lens_a, px_per_rad, gains, transfer);
  const LensReader b = ribbon_reader(frames, pair.lens_b, px_per_rad, gains, transfer);
  SeamViews views = ribbon_views(a, b, pair.warp, ViewKind::warped);
  if (options.walk) {
    calm_subjects(a, b, slide, options, pair.warp, views);
    if (auto done = polish(slide, options, pair.warp, views); !done) return done;
  }
  views.wish = wish_raster(options.strokes, pair.warp.grid, {pair.lens_a, pair.lens_b});
  auto path = path_through(views, options);
  if (!path) return tl::unexpected(path.error());
  pair.path = std::move(*path);
  SeamViews unwarped;
  if (options.walk || options.keep_views) {
    unwarped = ribbon_views(a, b, pair.warp, ViewKind::at_infinity);
  }
  if (options.walk) {
    auto torn = mend_tears(a, b, slide, options, {pair.warp, views, pair.path, unwarped});
    if (!torn) return tl::unexpected(torn.error());
    pair.torn = std::move(*torn);
  }
  if (options.join) {
    auto blend = band_blend(views, pair.path, options.blend);
    if (!blend) return tl::unexpected(blend.error());
    pair.blend.emplace(std::move(*blend));
  }
  if (options.keep_views) {
    pair.views = std::move(views);
    pair.unwarped = std::move(unwarped);
  }
  return {};
}

}  // namespace seamwright
