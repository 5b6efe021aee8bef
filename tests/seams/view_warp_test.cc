#include "compose/seams/view_warp.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <vector>

#include <catch2/catch.hpp>

#include "compose/seams/baseline_view.h"
#include "tests/seams/board_room.h"
#include "tests/support/rigs.h"

using namespace seamwright;
using namespace seamwright::test;

namespace {

constexpr double kWarpHalf_m = 0.0135;

RibbonGrid ring_grid() {
  RibbonGrid grid{.axes = RibbonAxes(Vec3::UnitZ())};
  grid.closed = true;
  grid.width_px = 2400;
  grid.px_per_rad = grid.width_px / (2 * kPi);
  grid.eta_begin_rad = rad_from_deg(80);
  grid.height_px = static_cast<int>(rad_from_deg(20) * grid.px_per_rad);
  return grid;
}

std::vector<SlideColumn> columns_of(const RibbonGrid& grid) {
  const double end = grid.eta_begin_rad + grid.height_px / grid.px_per_rad;
  return std::vector<SlideColumn>(static_cast<std::size_t>(grid.width_px),
                                  {grid.eta_begin_rad, end, 1});
}

Image plane(const RibbonGrid& grid, SampleType type) {
  return {grid.width_px, grid.height_px, Channels::grey, type};
}

// Depth as it would be if matching were perfect: of a scene given by the inverse distance from the
// middle that each pupil sees under a direction.
template <class Inverse>
RibbonDepth perfect_depth(const RibbonGrid& grid, const Inverse& inverse_seen_from) {
  RibbonDepth depth{.grid = grid, .half_baseline_m = kWarpHalf_m};
  depth.px_per_inverse_m = 2 * kWarpHalf_m * grid.px_per_rad;
  depth.gap_inverse_m = 1.5 / depth.px_per_inverse_m;
  for (LensDepth* lens : {&depth.of_a, &depth.of_b}) {
    const double offset = lens == &depth.of_a ? kWarpHalf_m : -kWarpHalf_m;
    *lens = {plane(grid, SampleType::f32), plane(grid, SampleType::f32),
             plane(grid, SampleType::u8), offset};
    for (int y = 0; y < grid.height_px; ++y) {
      for (int x = 0; x < grid.width_px; ++x) {
        const auto i = static_cast<std::size_t>(x);
        lens->inverse_m.row<float>(y)[i] =
            static_cast<float>(inverse_seen_from(offset, grid.direction({x + 0.5, y + 0.5})));
        lens->confidence.row<float>(y)[i] = 1;
      }
    }
  }
  return depth;
}

double shift_of(const Image& shift, int x, int y) {
  return static_cast<double>(shift.row<float>(y)[static_cast<std::size_t>(x)]);
}

// Continuous row at which the panorama's column shows what a lens sees under `eta_rad`.
double shown_row(const ViewWarp& warp, const Image& shift, int x, double eta_rad) {
  const RibbonGrid& grid = warp.grid;
  for (int y = 0; y + 1 < grid.height_px; ++y) {
    const double here = eta_of_row(grid, y + 0.5) + shift_of(shift, x, y);
    const double next = eta_of_row(grid, y + 1.5) + shift_of(shift, x, y + 1);
    if (here <= eta_rad && eta_rad < next) return y + 0.5 + (eta_rad - here) / (next - here);
  }
  return -1;
}

}  // namespace

TEST_CASE("the viewpoint walks from pupil to pupil and starts and ends at rest", "[view_warp]") {
  const RibbonGrid grid = ring_grid();
  const ViewpointSlide slide(kWarpHalf_m, grid, columns_of(grid));
  const double begin = slide.columns()[7].begin_rad;
  const double end = slide.columns()[7].end_rad;
  CHECK(slide.strength(7) == Approx(1));
  CHECK(begin == Approx(rad_from_deg(80)).margin(1e-9));
  CHECK(slide.offset_m(7, begin - 0.1) == Approx(kWarpHalf_m));
  CHECK(slide.offset_m(7, end + 0.1) == Approx(-kWarpHalf_m));
  CHECK(slide.offset_m(7, 0.5 * (begin + end)) == Approx(0).margin(1e-12));
  // One continuous derivative, zero at both borders.
  constexpr double kStep = 1e-4;
  double slope = 0;
  double most_bend = 0;
  for (double eta = begin - 0.02; eta < end + 0.02; eta += kStep) {
    const double next = (slide.offset_m(7, eta + kStep) - slide.offset_m(7, eta)) / kStep;
    CHECK(next <= 1e-12);
    most_bend = std::max(most_bend, std::abs(next - slope));
    slope = next;
  }
  const double bend = 12 * kWarpHalf_m / ((end - begin) * (end - begin));  // of 3t² − 2t³, analytic
  CHECK(most_bend < 1.05 * bend * kStep);
}

TEST_CASE("every point is shown once, and where the walk looks", "[view_warp]") {
  const RibbonGrid grid = ring_grid();
  const ViewpointSlide slide(kWarpHalf_m, grid, columns_of(grid));
  for (const double inverse : {0.0, 0.5, 2.0, 3.3, 8.0}) {
    double before = -1;
    for (double eta = rad_from_deg(70); eta < rad_from_deg(110); eta += 2e-3) {
      const double shown = slide.shown_eta(0, kWarpHalf_m, Colatitude(eta), inverse);
      CHECK(shown > before);
      before = shown;
      const double back = eta_seen_from(kWarpHalf_m, slide.offset_m(0, shown), shown, inverse);
      CHECK(back == Approx(eta).margin(1e-7));
    }
  }
}

TEST_CASE("overlaps that end fade out, and what is narrow has no walk", "[view_warp]") {
  RibbonGrid grid = ring_grid();
  grid.closed = false;
  auto columns = columns_of(grid);
  for (std::size_t x = 1000; x < 1100; ++x) columns[x].end_rad = columns[x].begin_rad + 0.01;
  for (std::size_t x = 1600; x < 1700; ++x) columns[x] = {};
  const ViewpointSlide slide(kWarpHalf_m, grid, columns);
  CHECK(slide.strength(0) < 0.01);
  CHECK(slide.strength(2399) < 0.01);
  CHECK(slide.strength(1050) == 0);
  CHECK(slide.strength(1650) == 0);
  CHECK(slide.strength(500) == Approx(1));
  for (int x = 1; x < grid.width_px; ++x) {
    CHECK(std::abs(slide.strength(x) - slide.strength(x - 1)) < 0.06);
  }
}

TEST_CASE("both lenses show the same point of a wall, and nothing moves at the borders",
          "[view_warp]") {
  const RibbonGrid grid = ring_grid();
  // A cylinder of 0.8 m around the pole, seen from the middle under η at 1/ρ = 0.8 / sin η.
  const auto inverse = [&](double offset, const Vec3& direction) {
    const double eta = grid.axes.angles(direction).eta_rad;
    const double along = offset + 0.8 / std::tan(eta);
    return 1 / std::hypot(0.8, along);
  };
  const RibbonDepth depth = perfect_depth(grid, inverse);
  const ViewWarp warp = view_warp(depth, ViewpointSlide(kWarpHalf_m, grid, columns_of(grid)));
  int checked = 0;
  for (int y = 20; y < grid.height_px - 20; ++y) {
    for (int x = 3; x < grid.width_px; x += 97) {
      const double eta = eta_of_row(grid, y + 0.5);
      const double of_a = kWarpHalf_m + 0.8 / std::tan(eta + shift_of(warp.shift_a_rad, x, y));
      const double of_b = -kWarpHalf_m + 0.8 / std::tan(eta + shift_of(warp.shift_b_rad, x, y));
      CHECK(std::abs(of_a - of_b) / 0.8 * grid.px_per_rad < 0.02);
      CHECK(static_cast<int>(warp.seen_by.row<std::uint8_t>(y)[static_cast<std::size_t>(x)]) == 3);
      ++checked;
    }
  }
  CHECK(checked > 2000);
  // Half a pixel inside a border of a walk over 133 px: 3 t² of a disparity of 13 px, 0.0005 px.
  CHECK(shift_of(warp.shift_a_rad, 5, 0) * grid.px_per_rad == Approx(0).margin(1e-3));
  CHECK(shift_of(warp.shift_b_rad, 5, grid.height_px - 1) * grid.px_per_rad ==
        Approx(0).margin(1e-3));
}

TEST_CASE("a straight edge across the seam stays straight within a pixel", "[view_warp]") {
  const RibbonGrid grid = ring_grid();
  // The plane x = 0.6 m, and lines in it at several slopes through the middle of the overlap.
  const double plane_m = 0.6;
  const auto inverse = [&](double offset, const Vec3& direction) {
    const Vec3 d = grid.axes.ribbon_from_rig() * direction;
    if (d.x() < 0.05) return 0.1;
    return 1 / (Vec3(0, 0, offset) + plane_m / d.x() * d).norm();
  };
  const RibbonDepth depth = perfect_depth(grid, inverse);
  const ViewWarp warp = view_warp(depth, ViewpointSlide(kWarpHalf_m, grid, columns_of(grid)));
  for (const double slope : {0.0, 0.2, 0.5, 1.0}) {
    CAPTURE(slope);
    std::vector<Vec2> line;  // raster places, cut over from lens a to lens b at the middle row
    const double middle_row = 0.5 * grid.height_px;
    const int zero = static_cast<int>(-grid.psi_begin_rad * grid.px_per_rad);
    for (int x = zero - 24; x <= zero + 24; ++x) {
      const double psi = grid.psi_begin_rad + (x + 0.5) / grid.px_per_rad;
      const double across = plane_m * std::tan(psi);
      const double radius = plane_m / std::cos(psi);
      const double along = slope * across;
      const double row_a =
          shown_row(warp, warp.shift_a_rad, x, std::atan2(radius, along - kWarpHalf_m));
      const double row_b =
          shown_row(warp, warp.shift_b_rad, x, std::atan2(radius, along + kWarpHalf_m));
      REQUIRE(row_a > 0);
      CHECK(row_b == Approx(row_a).margin(0.05));
      line.emplace_back(x, row_a < middle_row ? row_a : row_b);
    }
    // Distance from the chord.
    const Vec2 chord = (line.back() - line.front()).normalized();
    double worst = 0;
    for (const Vec2& at : line) {
      const Vec2 off = at - line.front();
      worst = std::max(worst, std::abs(off.x() * chord.y() - off.y() * chord.x()));
    }
    CHECK(worst < 1);
  }
}

TEST_CASE("what a lens does not see is said, and nothing is read twice", "[view_warp]") {
  const RibbonGrid grid = ring_grid();
  const BoardRoom room({{.middle = {0.6, 0, 0}, .half_wide_m = 0.1, .half_high_m = 0.04}});
  const Rig rig = nominal_rig();  // lens 0 looks along the ribbon's pole
  MountedLens a = rig.lenses[0];
  a.pupil = {0, 0, kWarpHalf_m};
  MountedLens b = rig.lenses[1];
  b.pupil = {0, 0, -kWarpHalf_m};
  RibbonDepth depth = perfect_depth(grid, [&](double offset, const Vec3& direction) {
    return 1 / room.hit({0, 0, offset}, direction).point.norm();
  });
  for (int lens = 0; lens < 2; ++lens) {
    LensDepth& of = lens == 0 ? depth.of_a : depth.of_b;
    for (int y = 0; y < grid.height_px; ++y) {
      for (int x = 0; x < grid.width_px; ++x) {
        const bool both =
            seen_by_both(room, lens == 0 ? a : b, lens == 0 ? b : a, grid, {x + 0.5, y + 0.5});
        of.visibility.row<std::uint8_t>(y)[static_cast<std::size_t>(x)] =
            static_cast<std::uint8_t>(both ? Visibility::both : Visibility::hidden);
      }
    }
  }
  const ViewpointSlide slide(kWarpHalf_m, grid, columns_of(grid));
  const ViewWarp warp = view_warp(depth, slide);
  int hidden = 0;
  int agree = 0;
  for (int x = 0; x < grid.width_px; ++x) {
    double last_a = 0;
    double last_b = 0;
    for (int y = 0; y < grid.height_px; ++y) {
      const double eta = eta_of_row(grid, y + 0.5);
      const double read_a = eta + shift_of(warp.shift_a_rad, x, y);
      const double read_b = eta + shift_of(warp.shift_b_rad, x, y);
      if (read_a < last_a - 1e-6 || read_b < last_b - 1e-6) FAIL("runs backwards at " << x);
      last_a = read_a;
      last_b = read_b;
      // The point itself, from the walking viewpoint: does lens a have it?
      const Vec3 from = {0, 0, slide.offset_m(x, eta)};
      const Vec3 point = room.hit(from, grid.direction({x + 0.5, y + 0.5})).point;
      const Vec3 seen = room.hit(a.pupil, (point - a.pupil).normalized()).point;
      if ((seen - point).norm() < 0.02) continue;
      ++hidden;
      const auto bits = warp.seen_by.row<std::uint8_t>(y)[static_cast<std::size_t>(x)];
      agree += (bits & kSeenByA) == 0 ? 1 : 0;
    }
  }
  CAPTURE(hidden, agree);
  REQUIRE(hidden > 200);
  CHECK(agree > 0.8 * hidden);
}
