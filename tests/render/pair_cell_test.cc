#include "compose/render/pair_cell.h"

#include <algorithm>
#include <cmath>
#include <memory>
#include <vector>

#include <catch2/catch.hpp>

#include "tests/support/random_geometry.h"

using namespace seamwright;
using seamwright::test::Random;

namespace {

constexpr int kHeight = 60;
constexpr std::size_t kLensA = 1;
constexpr std::size_t kLensB = 2;
constexpr Equirect kPanorama{1000, 500};

Image noise_raster(Random& random, const RibbonGrid& grid) {
  Image image(grid.width_px, grid.height_px, Channels::grey, SampleType::f32);
  for (int y = 0; y < grid.height_px; ++y) {
    for (float& value : image.row<float>(y)) value = static_cast<float>(random.uniform(-1, 1));
  }
  return image;
}

// Seen by both, but for a patch in which either may be blind.
Image seen_raster(Random& random, const RibbonGrid& grid) {
  Image image(grid.width_px, grid.height_px, Channels::grey, SampleType::u8);
  for (int y = 0; y < grid.height_px; ++y) {
    const auto row = image.row<std::uint8_t>(y);
    std::fill(row.begin(), row.end(), std::uint8_t{kSeenByA | kSeenByB});
    for (std::size_t x = 40; x < 90 && y > 20 && y < 45; ++x) {
      row[x] = static_cast<std::uint8_t>(random.integer(0, 3));
    }
  }
  return image;
}

BandBlend noise_blend(Random& random, const RibbonGrid& grid) {
  BandBlend::Tones of_a(grid.width_px, grid.height_px);
  const auto count = BandBlend::Tones::kFloats * static_cast<std::size_t>(grid.width_px) *
                     static_cast<std::size_t>(grid.height_px);
  for (std::size_t i = 0; i < count; ++i) {
    of_a.row(0)[i] = static_cast<float>(random.uniform(0, 1));
  }
  return {grid.closed, of_a, BandBlend::Tones(grid.width_px, grid.height_px)};
}

// A ribbon with noise in it. The walk fades in the first third; the seam wanders in the middle.
PairSeam random_pair(Random& random, bool closed) {
  const int width = closed ? 320 : 200;
  const double px_per_rad = 320 / (2 * kPi);
  RibbonGrid grid{.axes = RibbonAxes(test::random_direction(random)),
                  .psi_begin_rad = random.uniform(-kPi, kPi),
                  .eta_begin_rad = 0.5 * kPi - 0.5 * kHeight / px_per_rad,
                  .px_per_rad = px_per_rad,
                  .width_px = width,
                  .height_px = kHeight,
                  .closed = closed};
  PairSeam pair{.lens_a = kLensA,
                .lens_b = kLensB,
                .warp = ViewWarp{.grid = grid,
                                 .shift_a_rad = {},
                                 .shift_b_rad = {},
                                 .seen_by = {},
                                 .inverse_m = {},
                                 .confidence = {},
                                 .strength = {}}};
  pair.warp.shift_a_rad = noise_raster(random, grid);
  pair.warp.shift_b_rad = noise_raster(random, grid);
  pair.warp.seen_by = seen_raster(random, grid);
  pair.path.closed = closed;
  for (int x = 0; x < width; ++x) {
    pair.warp.strength.push_back(
        std::min(1.0F, static_cast<float>(3 * x) / static_cast<float>(width)));
    pair.path.row_px.push_back(static_cast<float>(30 + 6 * std::sin(0.1 * x)));
  }
  pair.blend = noise_blend(random, grid);
  return pair;
}

// What the plan says of one place, by the definitions of its rasters.
class Place {
 public:
  Place(const PairSeam& pair, const Vec3& direction) : pair_(pair) {
    const RibbonGrid& grid = pair.warp.grid;
    const Vec2 px = grid.position(direction);
    x_px = px.x();
    row_px = px.y();
    // Beyond an open ribbon's ends the nearer one is held.
    const double turn_px = 2 * kPi * grid.px_per_rad;
    if (!grid.closed && x_px > 0.5 * (grid.width_px + turn_px)) x_px = 0;
    corners = {x_px, row_px, grid.width_px, grid.height_px, grid.closed};
  }
  [[nodiscard]] double shift(const Image& raster) const {
    return static_cast<double>(corners.mean(
        [&](std::size_t y, std::size_t x) { return raster.row<float>(static_cast<int>(y))[x]; }));
  }
  [[nodiscard]] double strength() const {
    return static_cast<double>(
        corners.mean([&](std::size_t, std::size_t x) { return pair_.warp.strength[x]; }));
  }
  [[nodiscard]] double shown_by(std::uint8_t bit) const {
    return static_cast<double>(corners.mean([&](std::size_t y, std::size_t x) {
      return (pair_.warp.seen_by.row<std::uint8_t>(static_cast<int>(y))[x] & bit) != 0 ? 1.0F
                                                                                       : 0.0F;
    }));
  }

  double x_px;
  double row_px;
  RibbonCorners corners;

 private:
  const PairSeam& pair_;
};

// Largest differences between cells and single places, and what was met.
struct Compared {
  double shift = 0;
  double tone = 0;
  double strength = 0;
  double share = 0;
  int hidden = 0;         // pixels
  int hidden_misses = 0;  // with another share than single places have
  int left_to_a = 0;      // cells
  int left_to_b = 0;
  int crossed = 0;
  int whole = 0;
  int hiding = 0;
};

void raise(double& worst, double here, double there) {
  worst = std::max(worst, std::abs(here - there));
}

void compare_cell(const PairSeam& pair, const PairCell& in_cell, const Cell& cell, Compared& all) {
  const SeamPath& path = pair.path;
  auto shift_a = std::make_unique<RunPlane>();
  auto shift_b = std::make_unique<RunPlane>();
  auto share = std::make_unique<RunPlane>();
  auto tone_a = std::make_unique<RunTones>();
  in_cell.shifts(kLensA, *shift_a);
  in_cell.shifts(kLensB, *shift_b);
  in_cell.seam_shares(*share);
  REQUIRE(in_cell.tones(kLensA, *tone_a));
  const auto owner = in_cell.beside_seam();
  all.left_to_a += owner == kLensA ? 1 : 0;
  all.left_to_b += owner == kLensB ? 1 : 0;
  all.crossed += owner ? 0 : 1;
  all.whole += in_cell.whole() ? 1 : 0;
  all.hiding += in_cell.shown_by_both() ? 0 : 1;
  for (int row = 0; row < cell.height; ++row) {
    for (int column = 0; column < cell.width; ++column) {
      const std::size_t i = Cell::index(column, row);
      const Place at(pair, kPanorama.direction({cell.x + column + 0.5, cell.y + row + 0.5}));
      raise(all.shift, (*shift_a)[i], at.shift(pair.warp.shift_a_rad));
      raise(all.shift, (*shift_b)[i], at.shift(pair.warp.shift_b_rad));
      raise(all.strength, in_cell.strength(i), at.strength());
      const double of_a = path.share_a(at.x_px, at.row_px, 2);
      raise(all.share, (*share)[i], of_a);
      if (owner) REQUIRE(of_a == (*owner == kLensA ? 1 : 0));
      const LensTone tone = pair.blend->tone_a(at.x_px, at.row_px);
      for (std::size_t c = 0; c < 3; ++c) {
        const std::size_t k = RunTones::kFloats * i + c;
        const auto gain = static_cast<double>(tone.gain[c]);
        raise(all.tone, tone_a->gain[k], 1 + at.strength() * (gain - 1));
        raise(all.tone, tone_a->add[k], at.strength() * static_cast<double>(tone.add[c]));
      }
      const double by_a = at.shown_by(kSeenByA);
      const double by_b = at.shown_by(kSeenByB);
      if (in_cell.shown_by_both()) REQUIRE(by_a * by_b == 1);
      const double left = by_a == by_b ? 0.7 : 0.7 * by_a + 0.3 * (1 - by_b);
      all.hidden += by_a * by_b < 1 ? 1 : 0;
      all.hidden_misses += std::abs(in_cell.share_of_a(i, 0.7, 0.3) - left) > 0.01 ? 1 : 0;
    }
  }
}

Compared compare(Random& random, bool closed) {
  Compared all;
  for (int body = 0; body < 3; ++body) {
    const PairSeam pair = random_pair(random, closed);
    const PairField field(pair, 20 * pair.warp.grid.px_per_rad);
    for (Cell cell; cell.y < kPanorama.height; cell.y += Cell::kSize) {
      cell.height = std::min(Cell::kSize, kPanorama.height - cell.y);
      for (cell.x = 0; cell.x < kPanorama.width; cell.x += Cell::kSize) {
        cell.width = std::min(Cell::kSize, kPanorama.width - cell.x);
        const Vec3 middle = kPanorama.direction(cell.middle());
        if (!field.touches(middle, cell.reach_rad(kPanorama))) continue;
        const auto in_cell = std::make_unique<PairCell>(field, kPanorama, cell);
        compare_cell(pair, *in_cell, cell, all);
      }
    }
  }
  return all;
}

}  // namespace

TEST_CASE("A cell reads of a pair's plan what single places read") {
  CAPTURE(test::seed());
  Random random(61);
  const bool closed = GENERATE(true, false);
  CAPTURE(closed);
  const Compared all = compare(random, closed);
  CAPTURE(all.left_to_a, all.left_to_b, all.crossed, all.whole, all.hiding);
  // Places are interpolated to 0.002 px (source_grid.h); noise changes by up to 2 a pixel along
  // either axis, tones by 1, strength by at most 1 (a closed ribbon's end), shares by 0.75 a row.
  constexpr double kPlace_px = 0.002;
  const double kDiagonal = std::sqrt(2.0);
  CHECK(all.shift < 2 * kDiagonal * kPlace_px + 1e-4);
  CHECK(all.tone < 2 * kDiagonal * kPlace_px + 1e-4);
  CHECK(all.strength < kPlace_px + 1e-4);
  CHECK(all.share < 0.75 * 1.6 * kDiagonal * kPlace_px + 1e-4);
  // What is seen goes from 0 to 1 within a pixel, but where equal views of both end the share
  // jumps.
  CHECK(all.hidden_misses <= all.hidden / 100);
  CHECK(all.left_to_a > 50);
  CHECK(all.left_to_b > 50);
  CHECK(all.crossed > 50);
  CHECK(all.whole > 100);
  CHECK(all.hiding > 20);
}
