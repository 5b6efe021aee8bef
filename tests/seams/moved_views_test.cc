#include "compose/seams/moved_views.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include <catch2/catch.hpp>

#include "tests/seams/ribbon_views.h"

using namespace seamwright;
using namespace seamwright::test;

namespace {

constexpr int kMovedWidth = 240;
constexpr int kMovedHeight = 64;
constexpr double kScale = kMovedWidth / (2 * kPi);  // px/rad

// What one lens shows under (x, row), in continuous pixels; smooth.
Light wall(double x, double row) {
  const double turn = 2 * kPi * x / kMovedWidth;
  return {0.5 + 0.2 * std::sin(6 * turn + 0.3 * row), 0.4 + 0.1 * std::cos(0.4 * row),
          0.3 + 0.1 * std::sin(0.35 * row)};
}

ViewWarp warp_of() {
  ViewWarp warp{.grid = {.axes = RibbonAxes(Vec3::UnitZ())},
                .shift_a_rad = Image(kMovedWidth, kMovedHeight, Channels::grey, SampleType::f32),
                .shift_b_rad = Image(kMovedWidth, kMovedHeight, Channels::grey, SampleType::f32),
                .seen_by = {},
                .inverse_m = {},
                .confidence = {},
                .strength = {}};
  warp.grid.width_px = kMovedWidth;
  warp.grid.height_px = kMovedHeight;
  warp.grid.px_per_rad = kScale;
  warp.grid.closed = true;
  return warp;
}

Light moved_light_at(const Image& light, int x, int y) {
  const auto row = light.row<float>(y);
  const std::size_t i = 3 * static_cast<std::size_t>(x);
  return {row[i], row[i + 1], row[i + 2]};
}

// Rows that a shift of lens a was read from: stretched, as near a surface that leans.
double read_px(int y) { return 0.15 * y; }

}  // namespace

TEST_CASE("moved views are what the lens shows where it is read now", "[moved_views]") {
  const double by_px = GENERATE(-0.9, 0.35, 1.4);
  CAPTURE(by_px);
  SeamViews views = ribbon_views(kMovedWidth, kMovedHeight, true, [](double x, double y) {
    return wall(x * kMovedWidth, y * kMovedHeight + read_px(static_cast<int>(y * kMovedHeight)));
  });
  ViewWarp warp = warp_of();
  for (int y = 0; y < kMovedHeight; ++y) {
    std::ranges::fill(warp.shift_a_rad.row<float>(y), static_cast<float>(read_px(y) / kScale));
  }
  const ViewShifts read{warp.shift_a_rad, warp.shift_b_rad};
  for (int y = 0; y < kMovedHeight; ++y) {
    std::ranges::fill(warp.shift_a_rad.row<float>(y),
                      static_cast<float>((read_px(y) + by_px) / kScale));
  }
  const Image of_b = views.light_b;
  move_views(views, read, warp);
  double worst = 0;
  for (int y = 4; y < kMovedHeight - 4; ++y) {
    for (int x = 0; x < kMovedWidth; ++x) {
      const Light expected = wall(x + 0.5, y + 0.5 + read_px(y) + by_px);
      const Light found = moved_light_at(views.light_a, x, y);
      for (std::size_t c = 0; c < 3; ++c) worst = std::max(worst, std::abs(found[c] - expected[c]));
    }
  }
  CHECK(worst < 0.004);  // of waves of 0.2 that turn by 0.3 a row
  // Lens b was not moved.
  CHECK(std::ranges::equal(views.light_b.bytes(), of_b.bytes()));
}

TEST_CASE("clipping moves with the light, what hides stays", "[moved_views]") {
  SeamViews views = ribbon_views(kMovedWidth, kMovedHeight, true);
  mark(views.state_a, 10, 20, 30, 40, static_cast<int>(ViewState::clipped));
  mark(views.state_a, 50, 60, 30, 40, static_cast<int>(ViewState::hidden));
  ViewWarp warp = warp_of();
  const ViewShifts read{warp.shift_a_rad, warp.shift_b_rad};
  for (int y = 0; y < kMovedHeight; ++y) {
    std::ranges::fill(warp.shift_a_rad.row<float>(y), static_cast<float>(2 / kScale));
  }
  move_views(views, read, warp);
  CHECK(state_at(views.state_a, 15, 28) == ViewState::clipped);
  CHECK(state_at(views.state_a, 15, 37) == ViewState::clipped);
  CHECK(state_at(views.state_a, 15, 38) == ViewState::good);
  CHECK(state_at(views.state_a, 55, 29) == ViewState::good);
  CHECK(state_at(views.state_a, 55, 30) == ViewState::hidden);
  CHECK(state_at(views.state_a, 55, 39) == ViewState::hidden);
}
