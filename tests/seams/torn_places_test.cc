#include "compose/seams/torn_places.h"

#include <cmath>
#include <functional>

#include <catch2/catch.hpp>

using namespace seamwright;

namespace {

constexpr int kTornWidth = 160;
constexpr int kTornHeight = 64;
constexpr int kTornSeam = 40;
constexpr double kTornPx_per_rad = 300;

using Painter = std::function<double(int x, int y)>;

Image torn_light(const Painter& picture) {
  Image light(kTornWidth, kTornHeight, Channels::rgb, SampleType::f32);
  for (int y = 0; y < kTornHeight; ++y) {
    for (int x = 0; x < kTornWidth; ++x) {
      for (int c = 0; c < 3; ++c) {
        light.row<float>(y)[static_cast<std::size_t>(3 * x + c)] =
            static_cast<float>(picture(x, y));
      }
    }
  }
  return light;
}

// Shifts of lens a's rows in px; lens b is read as it lies.
std::vector<TornPlace> torn_between(const Painter& a, const Painter& b, const Painter& shift_px) {
  const Image none(kTornWidth, kTornHeight, Channels::grey, SampleType::f32);
  const Image seen(kTornWidth, kTornHeight, Channels::grey, SampleType::u8);
  const RibbonGrid grid{.axes = RibbonAxes(Vec3::UnitZ()),
                        .px_per_rad = kTornPx_per_rad,
                        .width_px = kTornWidth,
                        .height_px = kTornHeight};
  ViewWarp warp{grid, 0, 0, 1, none, none, seen, none, none, {}};
  SeamViews views{};
  views.light_a = torn_light(a);
  views.light_b = torn_light(b);
  views.state_a = seen;
  views.state_b = seen;
  for (int y = 0; y < kTornHeight; ++y) {
    for (int x = 0; x < kTornWidth; ++x) {
      const auto i = static_cast<std::size_t>(x);
      warp.shift_a_rad.row<float>(y)[i] = static_cast<float>(shift_px(x, y) / kTornPx_per_rad);
      warp.seen_by.row<std::uint8_t>(y)[i] = kSeenByA | kSeenByB;
    }
  }
  SeamPath path;
  path.row_px.assign(kTornWidth, kTornSeam);
  return torn_places(torn_edges({warp, views, path}), false);
}

bool in_box(int x, int y) { return x >= 60 && x < 100 && y >= 12 && y < 30; }

double torn_bands(int, int y) { return y / 6 % 2 == 0 ? 0.5 : 0.1; }
double grey_wall(int, int) { return 0.3; }
double no_shift(int, int) { return 0; }
double jumping(int x, int y) { return in_box(x, y) ? 4 : 0; }

}  // namespace

TEST_CASE("What both lenses show alike is not torn", "[torn_places]") {
  CHECK(torn_between(torn_bands, torn_bands, no_shift).empty());
}

TEST_CASE("A jump of depth in the middle of stripes is torn, and found where it is",
          "[torn_places]") {
  const auto places = torn_between(torn_bands, torn_bands, jumping);
  REQUIRE(!places.empty());
  for (const TornPlace& place : places) {
    CHECK(place.left >= 58);
    CHECK(place.right <= 102);
    CHECK(place.top >= 10);
    CHECK(place.bottom <= 32);
  }
}

TEST_CASE("A jump of depth shows nothing on a plain wall, and is right where a thing ends",
          "[torn_places]") {
  CHECK(torn_between(grey_wall, grey_wall, jumping).empty());
  // Lens a shows the thing 4 px further down than the panorama does, before a plain wall.
  const auto thing = [](int x, int y) { return in_box(x, y - 4) ? 0.05 : 0.6; };
  const auto wall = [](int, int) { return 0.6; };
  CHECK(torn_between(thing, wall, jumping).empty());
}

TEST_CASE("A seam through what the lenses show at different places is torn", "[torn_places]") {
  const auto bars = [](int x, int) { return x >= 60 && x < 110 && x / 5 % 2 == 0 ? 0.05 : 0.5; };
  const auto moved = [&](int x, int y) { return bars(x + 5, y); };
  const auto places = torn_between(bars, moved, no_shift);
  REQUIRE(places.size() == 1);
  CHECK(places[0].middle_px.y() == Approx(kTornSeam).margin(1));
  CHECK(places[0].left >= 50);
  CHECK(places[0].right <= 115);
}
