#include "compose/render/seam_route.h"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <utility>

#include "compose/render/ribbon_views.h"
#include "compose/render/seam_hints.h"
#include "compose/seams/moved_views.h"

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

}  // namespace seamwright
