#include "compose/render/ribbon_views.h"

#include <cmath>

#include <catch2/catch.hpp>

#include "tests/support/rigs.h"

using namespace seamwright;
using seamwright::test::Random;

namespace {

// A frame that tells of each place where it is: red is its column, green its row, in pixels. The
// kernel repeats slopes exactly.
Image frame_of_places(const Lens& lens) {
  Image frame(lens.width_px, lens.height_px, Channels::rgb, SampleType::f32);
  frame.transfer = Transfer::linear;
  for (int y = 0; y < lens.height_px; ++y) {
    const auto row = frame.row<float>(y);
    for (int x = 0; x < lens.width_px; ++x) {
      row[3 * static_cast<std::size_t>(x)] = static_cast<float>(x) + 0.5F;
      row[3 * static_cast<std::size_t>(x) + 1] = static_cast<float>(y) + 0.5F;
    }
  }
  return frame;
}

MountedLens plain_lens(MountedLens mounted) {
  mounted.lens.red = mounted.lens.blue = {};
  mounted.lens.vignetting = {};
  return mounted;
}

// A few surfaces at depths of their own, in upright stripes.
ViewWarp striped_warp(Random& random, const RibbonGrid& grid, double most_rad) {
  const Image raster(grid.width_px, grid.height_px, Channels::grey, SampleType::f32);
  ViewWarp warp{.grid = grid,
                .shift_a_rad = raster,
                .shift_b_rad = raster,
                .seen_by = Image(grid.width_px, grid.height_px, Channels::grey, SampleType::u8),
                .inverse_m = raster,
                .confidence = raster,
                .strength = {}};
  std::vector<float> shift;
  for (int x = 0; x < grid.width_px; ++x) {
    const bool edge = x % 11 == 0;
    shift.push_back(edge ? static_cast<float>(random.uniform(-most_rad, most_rad)) : shift.back());
  }
  for (int y = 0; y < grid.height_px; ++y) {
    std::ranges::copy(shift, warp.shift_a_rad.row<float>(y).begin());
    std::ranges::fill(warp.seen_by.row<std::uint8_t>(y), std::uint8_t{kSeenByA | kSeenByB});
  }
  return warp;
}

struct RibbonMisses {
  int seen = 0;
  int unseen = 0;
  int unlike = 0;  // one finds a place and the other none
  double worst_px = 0;
};

// What was read of lens a, held against its exact map.
RibbonMisses misses_of(const SeamViews& views, const MountedLens& mounted, const ViewWarp& warp,
                       bool warped) {
  const LensMap map(mounted);
  const RibbonGrid& grid = warp.grid;
  RibbonMisses misses;
  for (int y = 0; y < grid.height_px; ++y) {
    const auto light = views.light_a.row<float>(y);
    for (int x = 0; x < grid.width_px; ++x) {
      const auto i = static_cast<std::size_t>(x);
      const double shift = warped ? static_cast<double>(warp.shift_a_rad.row<float>(y)[i]) : 0.0;
      const double psi = grid.psi_begin_rad + (x + 0.5) / grid.px_per_rad;
      const auto exact =
          map.source_px(grid.axes.direction({psi, eta_of_row(grid, y + 0.5) + shift}));
      const bool outside =
          views.state_a.row<std::uint8_t>(y)[i] == static_cast<std::uint8_t>(ViewState::outside);
      if (outside == exact.has_value()) {
        ++misses.unlike;
      } else if (outside) {
        ++misses.unseen;
      } else {
        ++misses.seen;
        // Beside the border the border's samples repeat: no slope.
        if (map.margin_rad(grid.axes.direction({psi, eta_of_row(grid, y + 0.5) + shift})) < 0.02)
          continue;
        misses.worst_px =
            std::max(misses.worst_px, (Vec2(light[3 * i], light[3 * i + 1]) - *exact).norm());
      }
    }
  }
  return misses;
}

constexpr double kRounding_px = 2e-4;  // of single floats up to a frame's width

}  // namespace

TEST_CASE("A ribbon is read where the lens shows it, moved or not, for every curve") {
  CAPTURE(test::seed());
  Random random(41);
  int seen = 0;
  int unseen = 0;
  for (int curve = 0; curve < kLensCurveCount; ++curve) {
    CAPTURE(curve);
    const Rig rig = test::random_rig(random, {.curve = static_cast<LensCurve>(curve)});
    const MountedLens mounted = plain_lens(rig.lenses[0]);
    const double scale = rig.lenses[0].lens.terms[kFocal] / 3;
    auto overlap = overlap_of(rig, 0, 1, scale, 0);
    if (!overlap) continue;
    RibbonGrid grid = overlap->grid;
    grid.eta_begin_rad -= 0.1;  // beyond what both lenses see
    grid.height_px += static_cast<int>(0.2 * grid.px_per_rad);
    const ViewWarp warp = striped_warp(random, grid, 0.05);
    const Image frame = frame_of_places(mounted.lens);
    const auto transfer = TransferCurve::of(frame);
    REQUIRE(transfer);
    const LensReader reader(mounted, frame, ResampleKernel::catmull_rom,
                            LensMap(mounted).typical_px_per_rad(), *transfer, {1, 1, 1});
    for (const ViewKind kind : {ViewKind::warped, ViewKind::at_infinity}) {
      const SeamViews views = ribbon_views(reader, reader, warp, kind);
      const RibbonMisses misses = misses_of(views, mounted, warp, kind == ViewKind::warped);
      CHECK(misses.worst_px < kSourceBound_px + kRounding_px);
      CHECK(misses.unlike == 0);
      seen += misses.seen;
      unseen += misses.unseen;
    }
  }
  CHECK(seen > 10000);
  CHECK(unseen > 1000);
}

TEST_CASE("Reading some columns again changes these and gives what reading all gives") {
  CAPTURE(test::seed());
  Random random(42);
  const Rig rig = test::random_rig(random);
  const MountedLens mounted = plain_lens(rig.lenses[0]);
  const auto overlap = overlap_of(rig, 0, 1, 150, 0);
  REQUIRE(overlap);
  const Image frame = frame_of_places(mounted.lens);
  const auto transfer = TransferCurve::of(frame);
  REQUIRE(transfer);
  const LensReader reader(mounted, frame, ResampleKernel::catmull_rom,
                          LensMap(mounted).typical_px_per_rad(), *transfer, {1, 1, 1});
  ViewWarp warp = striped_warp(random, overlap->grid, 0.02);
  SeamViews views = ribbon_views(reader, reader, warp, ViewKind::warped);
  std::vector<bool> columns(static_cast<std::size_t>(warp.grid.width_px));
  for (std::size_t x = 40; x < 75; ++x) columns[x] = true;
  for (int y = 0; y < warp.grid.height_px; ++y) {
    for (std::size_t x = 40; x < 75; ++x) {
      warp.shift_a_rad.row<float>(y)[x] += 0.01F;
      warp.inverse_m.row<float>(y)[x] = 0.5F;
    }
  }
  const Image before = views.light_a;
  read_again(reader, reader, warp, columns, views);
  const SeamViews all = ribbon_views(reader, reader, warp, ViewKind::warped);
  CHECK(std::ranges::equal(views.state_a.bytes(), all.state_a.bytes()));
  CHECK(std::ranges::equal(views.inverse_m.bytes(), warp.inverse_m.bytes()));
  int changed = 0;
  float worst = 0;
  for (int y = 0; y < warp.grid.height_px; ++y) {
    for (std::size_t x = 0; x < columns.size(); ++x) {
      const float now = views.light_a.row<float>(y)[3 * x];
      const bool outside =
          views.state_a.row<std::uint8_t>(y)[x] == static_cast<std::uint8_t>(ViewState::outside);
      if (outside && columns[x]) continue;  // what light stands there means nothing
      if (columns[x]) {
        worst = std::max(worst, std::abs(now - all.light_a.row<float>(y)[3 * x]));
        changed += now != before.row<float>(y)[3 * x] ? 1 : 0;
      } else if (now != before.row<float>(y)[3 * x]) {
        FAIL_CHECK("column " << x << " was read, too");
      }
    }
  }
  CHECK(worst == 0);
  CHECK(changed > 100);
}
