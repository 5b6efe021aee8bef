#include "compose/seams/warp_polish.h"

#include <cmath>
#include <cstddef>
#include <vector>

#include <catch2/catch.hpp>

#include "compose/seams/baseline_view.h"
#include "tests/seams/ribbon_views.h"

using namespace seamwright;
using Catch::Matchers::WithinAbs;

namespace {

constexpr double kPolishHalf_m = 0.0135;
constexpr int kPolishWidth = 480;
constexpr int kPolishHeight = 64;
constexpr double kMiss_px = 0.6;

RibbonGrid ring() {
  RibbonGrid grid{.axes = RibbonAxes(Vec3::UnitZ())};
  grid.closed = true;
  grid.width_px = kPolishWidth;
  grid.height_px = kPolishHeight;
  grid.px_per_rad = kPolishWidth / (2 * kPi);
  grid.eta_begin_rad = 0.5 * kPi - 0.5 * kPolishHeight / grid.px_per_rad;
  return grid;
}

ViewWarp still_warp(const RibbonGrid& grid) {
  return {.grid = grid,
          .half_baseline_m = kPolishHalf_m,
          .shift_a_rad = Image(kPolishWidth, kPolishHeight, Channels::grey, SampleType::f32),
          .shift_b_rad = Image(kPolishWidth, kPolishHeight, Channels::grey, SampleType::f32),
          .seen_by = {},
          .inverse_m = {},
          .confidence = {},
          .strength = std::vector<float>(kPolishWidth, 1)};
}

ViewpointSlide whole_slide(const RibbonGrid& grid) {
  const double end = eta_of_row(grid, kPolishHeight);
  return {kPolishHalf_m,
          grid,
          std::vector<SlideColumn>(
              kPolishWidth, {.begin_rad = grid.eta_begin_rad, .end_rad = end, .strength = 1}),
          {.most_half_width_rad = 1}};
}

// Lens b draws everything lower than lens a by kMiss_px, brighter and warmer.
SeamViews missed_views(const test::Wall& wall) {
  SeamViews views = test::ribbon_views(kPolishWidth, kPolishHeight, true, wall);
  views.light_b = test::ribbon_views(kPolishWidth, kPolishHeight, true, [&](double x, double y) {
                    return wall(x, y - kMiss_px / kPolishHeight);
                  }).light_b;
  test::expose(views.light_b, {1.5, 1.4, 1.3});
  return views;
}

double moved_px(const ViewWarp& warp, int x, int y) {
  const auto i = static_cast<std::size_t>(x);
  return (warp.shift_b_rad.row<float>(y)[i] - warp.shift_a_rad.row<float>(y)[i]) *
         warp.grid.px_per_rad;
}

// Two rounds would need the pictures read anew; one must already find most of the miss.
void polish(ViewWarp& warp, const SeamViews& views) {
  const auto done = polish_warp(warp, whole_slide(warp.grid), views);
  if (!done) FAIL(done.error().line());
}

}  // namespace

TEST_CASE("What is left of a shift is found where there is texture", "[warp_polish]") {
  ViewWarp warp = still_warp(ring());
  polish(warp, missed_views(test::wavy));
  double worst = 0;
  for (int y = 8; y < kPolishHeight - 8; ++y) {
    for (int x = 0; x < kPolishWidth; ++x)
      worst = std::max(worst, std::abs(moved_px(warp, x, y) - kMiss_px));
  }
  CHECK(worst < 0.1);
}

TEST_CASE("Each lens is moved by its share of the walk, and not at all where it is alone",
          "[warp_polish]") {
  ViewWarp warp = still_warp(ring());
  polish(warp, missed_views(test::wavy));
  const double px = warp.grid.px_per_rad;
  for (int x = 0; x < kPolishWidth; x += 7) {
    const auto i = static_cast<std::size_t>(x);
    CHECK_THAT(warp.shift_a_rad.row<float>(1)[i] * px, WithinAbs(0, 0.01));
    CHECK_THAT(warp.shift_b_rad.row<float>(kPolishHeight - 2)[i] * px, WithinAbs(0, 0.01));
    CHECK_THAT(warp.shift_a_rad.row<float>(kPolishHeight / 2)[i] * px, WithinAbs(-0.3, 0.08));
    CHECK_THAT(warp.shift_b_rad.row<float>(kPolishHeight / 2)[i] * px, WithinAbs(0.3, 0.08));
  }
}

TEST_CASE("Plain walls, hidden and blown places stay as they are", "[warp_polish]") {
  ViewWarp warp = still_warp(ring());
  polish(warp, missed_views(test::plain));
  SeamViews views = missed_views(test::wavy);
  test::mark(views.state_a, 100, 200, 0, kPolishHeight, static_cast<int>(ViewState::hidden));
  test::mark(views.state_b, 300, 400, 0, kPolishHeight, static_cast<int>(ViewState::clipped));
  ViewWarp partly = still_warp(ring());
  polish(partly, views);
  for (int y = 0; y < kPolishHeight; ++y) {
    for (int x = 0; x < kPolishWidth; ++x) CHECK(std::abs(moved_px(warp, x, y)) < 1e-3);
    for (const int x : {120, 150, 180, 320, 350, 380}) CHECK(moved_px(partly, x, y) == 0);
  }
}

TEST_CASE("Polishing never moves a pixel by more than it may, and refuses nonsense",
          "[warp_polish]") {
  ViewWarp warp = still_warp(ring());
  const SeamViews views = missed_views(test::wavy);
  const auto slide = whole_slide(warp.grid);
  REQUIRE(polish_warp(warp, slide, views, {.most_px = 0.2}));
  for (int y = 0; y < kPolishHeight; ++y) {
    for (int x = 0; x < kPolishWidth; ++x) CHECK(std::abs(moved_px(warp, x, y)) < 0.2001);
  }
  const auto wide = polish_warp(warp, slide, views, {.window_px = 40});
  REQUIRE_FALSE(wide);
  CHECK(wide.error().field == "warp polish window_px");
  const auto other = polish_warp(warp, slide, test::ribbon_views(kPolishWidth, 32, true));
  REQUIRE_FALSE(other);
  CHECK(other.error().field == "warp polish views");
}
