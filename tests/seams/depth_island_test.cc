#include "compose/seams/depth_island.h"

#include <cmath>
#include <cstdint>
#include <utility>

#include <catch2/catch.hpp>

#include "compose/seams/baseline_view.h"

using namespace seamwright;

namespace {

constexpr int kIslandsWidth = 120;
constexpr int kIslandsHeight = 90;
constexpr double kIslandHalf_m = 0.0135;
constexpr double kRibPeriod_px = 6;
constexpr double kRibbedWall = 0.4;  // 1/m

RibbonGrid ribbed_ribbon() {
  return {.axes = RibbonAxes(Vec3::UnitZ()),
          .psi_begin_rad = 0,
          .eta_begin_rad = 0.5 * kPi - 45.0 / 300,
          .px_per_rad = 300,
          .width_px = kIslandsWidth,
          .height_px = kIslandsHeight};
}

// Disparity of an inverse distance of one, near enough across from the baseline.
constexpr double kIslandPx_per_inverse_m = 2 * kIslandHalf_m * 300;

struct ThingBox {
  int left = 40, right = 70, top = 30, bottom = 60;
  [[nodiscard]] bool has(int x, double row) const {
    return x >= left && x < right && row >= top && row < bottom;
  }
};

double ribs(double row) { return std::sin(2 * kPi * row / kRibPeriod_px); }

// Of no period.
double cloth(int x, double row) {
  const double down = row - ThingBox{}.top;
  return std::sin(0.4 * down + 0.012 * down * down + 0.7 * x);
}

Strip blank_strip() {
  Strip strip{{}, ribbed_ribbon()};
  strip.normalised = Image(kIslandsWidth, kIslandsHeight, Channels::grey, SampleType::f32);
  strip.valid = Image(kIslandsWidth, kIslandsHeight, Channels::grey, SampleType::u8);
  for (int y = 0; y < kIslandsHeight; ++y) {
    for (std::uint8_t& valid : strip.valid.row<std::uint8_t>(y)) valid = 255;
  }
  return strip;
}

// Row of lens a's strip that lens b shows in a row of its own, at an inverse distance.
double row_of_a(const RibbonGrid& grid, int y, double inverse_m) {
  const double eta = eta_of_row(grid, y + 0.5);
  return y + (eta_seen_from(kIslandHalf_m, -kIslandHalf_m, eta, inverse_m) - eta) * grid.px_per_rad;
}

// What the lenses show of a ribbed wall, with a thing before it if `thing` is not 0.
struct RibbedPair {
  Strip a = blank_strip();
  Strip b = blank_strip();
};
RibbedPair ribbed_wall(const ThingBox& box, double thing) {
  RibbedPair pair;
  const RibbonGrid grid = ribbed_ribbon();
  for (int y = 0; y < kIslandsHeight; ++y) {
    for (int x = 0; x < kIslandsWidth; ++x) {
      const auto i = static_cast<std::size_t>(x);
      const bool own = thing > 0 && box.has(x, y);
      pair.a.normalised.row<float>(y)[i] = static_cast<float>(own ? cloth(x, y) : ribs(y));
      const double near = row_of_a(grid, y, thing);
      const bool there = thing > 0 && box.has(x, near);
      pair.b.normalised.row<float>(y)[i] =
          static_cast<float>(there ? cloth(x, near) : ribs(row_of_a(grid, y, kRibbedWall)));
    }
  }
  return pair;
}

// The wall's depth, with an island of another.
LensDepth with_island(const ThingBox& box, double island) {
  LensDepth depth{
      .inverse_m = Image(kIslandsWidth, kIslandsHeight, Channels::grey, SampleType::f32),
      .confidence = Image(kIslandsWidth, kIslandsHeight, Channels::grey, SampleType::f32),
      .visibility = Image(kIslandsWidth, kIslandsHeight, Channels::grey, SampleType::u8),
      .offset_m = kIslandHalf_m};
  for (int y = 0; y < kIslandsHeight; ++y) {
    for (int x = 0; x < kIslandsWidth; ++x) {
      depth.inverse_m.row<float>(y)[static_cast<std::size_t>(x)] =
          static_cast<float>(box.has(x, y) ? island : kRibbedWall);
    }
  }
  return depth;
}

constexpr IslandOptions kIslandOptions{.gap_inverse_m = 1.5 / kIslandPx_per_inverse_m,
                                       .px_per_inverse_m = kIslandPx_per_inverse_m,
                                       .at_least = 100,
                                       .fewer_than = 3600};

}  // namespace

TEST_CASE("Ribs that matched a period off join the wall around them", "[depth_island]") {
  const ThingBox box;
  const double off = kRibbedWall + kRibPeriod_px / kIslandPx_per_inverse_m;
  const RibbedPair pair = ribbed_wall(box, 0);
  LensDepth depth = with_island(box, off);
  CHECK(join_islands(depth, {pair.a, kIslandHalf_m}, {pair.b, -kIslandHalf_m}, kIslandOptions) ==
        1);
  for (int y = 0; y < kIslandsHeight; ++y) {
    for (const float inverse : depth.inverse_m.row<float>(y)) {
      REQUIRE(static_cast<double>(inverse) ==
              Approx(kRibbedWall).margin(0.3 / kIslandPx_per_inverse_m));
    }
  }
}

TEST_CASE("A thing before ribs stays where it is, as near as it is", "[depth_island]") {
  const ThingBox box;
  const double near = kRibbedWall + kRibPeriod_px / kIslandPx_per_inverse_m;
  const RibbedPair pair = ribbed_wall(box, near);
  LensDepth depth = with_island(box, near);
  CHECK(join_islands(depth, {pair.a, kIslandHalf_m}, {pair.b, -kIslandHalf_m}, kIslandOptions) ==
        0);
  CHECK(static_cast<double>(depth.inverse_m.row<float>(45)[55]) == Approx(near));
}

TEST_CASE("An island whose depth is known stays", "[depth_island]") {
  const ThingBox box;
  const double off = kRibbedWall + kRibPeriod_px / kIslandPx_per_inverse_m;
  const RibbedPair pair = ribbed_wall(box, 0);
  IslandOptions options = kIslandOptions;
  options.held = {{50, 40}};
  LensDepth depth = with_island(box, off);
  CHECK(join_islands(depth, {pair.a, kIslandHalf_m}, {pair.b, -kIslandHalf_m}, options) == 0);
}

TEST_CASE("Islands too small or too large are left to others", "[depth_island]") {
  const ThingBox box;
  const double off = kRibbedWall + kRibPeriod_px / kIslandPx_per_inverse_m;
  const RibbedPair pair = ribbed_wall(box, 0);
  for (const auto& [least, most] : {std::pair<std::size_t, std::size_t>{1000, 3600}, {100, 900}}) {
    IslandOptions options = kIslandOptions;
    options.at_least = least;
    options.fewer_than = most;
    LensDepth depth = with_island(box, off);
    CHECK(join_islands(depth, {pair.a, kIslandHalf_m}, {pair.b, -kIslandHalf_m}, options) == 0);
  }
}
