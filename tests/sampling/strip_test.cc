#include "sampling/strip.h"

#include <cmath>

#include <catch2/catch.hpp>

#include "base/parallel.h"
#include "tests/features/synthetic_shot.h"
#include "tests/support/matchers.h"
#include "tests/support/random.h"

namespace seamwright::test {

namespace {

RibbonGrid room_grid() { return *matching_grid(room_shot().rig, 0, 1, 0); }

LensView room_view(std::size_t lens) {
  return {match_plane(room_shot().frames[lens]), room_shot().rig.lenses[lens]};
}

}  // namespace

TEST_CASE("strip pixels map to frame pixels and back", "[strip]") {
  CAPTURE(seed());
  const RibbonGrid grid = room_grid();
  Random random(1);
  int checked = 0;
  for (const MountedLens& lens : room_shot().rig.lenses) {
    for (int i = 0; i < 300; ++i) {
      const Vec2 at(random.uniform(1, grid.width_px - 1), random.uniform(0, grid.height_px));
      const auto in_frame = ribbon_place(grid, lens, at);
      if (!in_frame) continue;
      const auto back = strip_position(grid, lens, in_frame->px);
      REQUIRE(back);
      CHECK_THAT(*back, near_pixel(at, 1e-7));
      constexpr double kStep = 1e-4;
      for (int axis = 0; axis < 2; ++axis) {
        const auto more = ribbon_place(grid, lens, at + kStep * Vec2::Unit(axis));
        const auto less = ribbon_place(grid, lens, at - kStep * Vec2::Unit(axis));
        if (!more || !less) continue;
        const Vec2 slope = (more->px - less->px) / (2 * kStep);
        CHECK((slope - in_frame->px_by_at.col(axis)).norm() < 1e-6);
        ++checked;
      }
    }
  }
  CHECK(checked > 800);
}

TEST_CASE("a strip shows what the lens sees in each direction", "[strip]") {
  // A frame that is a smooth function of direction; the strip must show that function.
  const MountedLens& lens = room_shot().rig.lenses[1];
  const auto pattern = [](const Vec3& d) {
    return 0.5 + 0.2 * std::sin(25 * d.x()) + 0.2 * std::cos(21 * d.y() + 17 * d.z());
  };
  Image frame(800, 800, Channels::grey, SampleType::f32);
  for (int y = 0; y < 800; ++y) {
    for (int x = 0; x < 800; ++x) {
      const auto d = lens.direction_in_rig(Vec2(x + 0.5, y + 0.5));
      if (d) frame.row<float>(y)[static_cast<std::size_t>(x)] = static_cast<float>(pattern(*d));
    }
  }
  const RibbonGrid grid = room_grid();
  const Strip strip = render_strip(LensView(frame, lens), grid);
  double worst = 0;
  int seen = 0;
  for (int y = 0; y < grid.height_px; ++y) {
    for (int x = 0; x < grid.width_px; ++x) {
      const auto i = static_cast<std::size_t>(x);
      const Vec3 direction = grid.direction(Vec2(x + 0.5, y + 0.5));
      const bool visible = lens.project_direction(direction).has_value();
      if (strip.valid.row<std::uint8_t>(y)[i] == 0) {
        CHECK(strip.raw.row<float>(y)[i] == 0.0F);
        CHECK(strip.normalised.row<float>(y)[i] == 0.0F);
        continue;
      }
      REQUIRE(visible);
      ++seen;
      const auto rim = lens.project_direction(direction);
      if ((*rim - lens.lens.centre_px()).norm() > lens.lens.rim_radius_px() - 10) continue;
      worst = std::max(worst, std::abs(strip.raw.row<float>(y)[i] - pattern(direction)));
    }
  }
  CHECK(seen > grid.width_px * grid.height_px / 2);
  // The pre-blur of 0.7 px and the averaging over a strip pixel cost less than this.
  CHECK(worst < 0.01);
}

TEST_CASE("padding repeats the other end of a closed ribbon", "[strip]") {
  const RibbonGrid grid = room_grid();
  REQUIRE(grid.closed);
  const LensView view = room_view(0);
  const Strip plain = render_strip(view, grid);
  const Strip wide = render_strip(view, padded(grid, 64));
  REQUIRE(wide.grid.width_px == grid.width_px + 128);
  double worst = 0;
  for (int y = 0; y < grid.height_px; ++y) {
    for (int x = 0; x < wide.grid.width_px; ++x) {
      const int inner = (x - 64 + grid.width_px) % grid.width_px;
      const auto from = static_cast<std::size_t>(inner);
      const auto to = static_cast<std::size_t>(x);
      if (plain.valid.row<std::uint8_t>(y)[from] == 0) continue;
      worst = std::max(worst, static_cast<double>(std::abs(plain.raw.row<float>(y)[from] -
                                                           wide.raw.row<float>(y)[to])));
    }
  }
  CHECK(worst < 1e-4);
}

TEST_CASE("normalisation forgets exposure, not texture", "[strip]") {
  const RibbonGrid grid = room_grid();
  const Image bright = match_plane(room_shot().frames[0]);
  Image dark = bright;
  for (int y = 0; y < dark.height(); ++y) {
    for (float& value : dark.row<float>(y)) value = 0.25F * value;
  }
  const NormaliseOptions no_floor{.window_px = 31, .noise_floor = 1e-6F};
  const MountedLens& lens = room_shot().rig.lenses[0];
  const Strip a = render_strip(LensView(bright, lens), grid, no_floor);
  const Strip b = render_strip(LensView(dark, lens), grid, no_floor);
  double worst = 0;
  double squares = 0;
  int count = 0;
  for (int y = 0; y < grid.height_px; ++y) {
    for (std::size_t x = 0; x < static_cast<std::size_t>(grid.width_px); ++x) {
      if (a.valid.row<std::uint8_t>(y)[x] == 0 || b.valid.row<std::uint8_t>(y)[x] == 0) continue;
      const double value = a.normalised.row<float>(y)[x];
      worst = std::max(worst, std::abs(value - b.normalised.row<float>(y)[x]));
      squares += value * value;
      ++count;
    }
  }
  REQUIRE(count > 0);
  CHECK(worst < 0.02);
  CHECK(std::sqrt(squares / count) == Approx(1).margin(0.15));
}

TEST_CASE("strips do not depend on the number of threads", "[strip]") {
  const RibbonGrid grid = room_grid();
  const LensView view = room_view(1);
  const Strip many = render_strip(view, grid);
  const ThreadLimit one(1);
  const Strip single = render_strip(room_view(1), grid);
  CHECK(std::equal(many.normalised.bytes().begin(), many.normalised.bytes().end(),
                   single.normalised.bytes().begin()));
  CHECK(std::equal(many.valid.bytes().begin(), many.valid.bytes().end(),
                   single.valid.bytes().begin()));
}

TEST_CASE("the match plane takes green at an even noise scale", "[strip]") {
  Image rgb(4, 2, Channels::rgb, SampleType::u16);
  rgb.transfer = Transfer::srgb;
  rgb.row<std::uint16_t>(1)[3 * 2 + 1] = 65535;
  const Image coded = match_plane(rgb);
  CHECK(coded.row<float>(1)[2] == 1.0F);
  CHECK(coded.row<float>(1)[1] == 0.0F);

  Image linear(1, 1, Channels::rgba, SampleType::f32);
  linear.transfer = Transfer::linear;
  linear.row<float>(0)[1] = 0.25F;
  CHECK(match_plane(linear).row<float>(0)[0] == 0.5F);

  Image eight(1, 1, Channels::grey, SampleType::u8);
  eight.row<std::uint8_t>(0)[0] = 51;
  CHECK(match_plane(eight).row<float>(0)[0] == Approx(0.2));
}

TEST_CASE("the dark surround of an image circle is not seen", "[strip]") {
  Lens lens = nominal_rig().lenses[0].lens.scaled_to(400, 400);
  const double rim = lens.rim_radius_px();
  Image plane(400, 400, Channels::grey, SampleType::f32);
  const double circle = 0.95 * rim;  // the stated field of view is too wide
  for (int y = 0; y < 400; ++y) {
    for (int x = 0; x < 400; ++x) {
      const double r = (Vec2(x + 0.5, y + 0.5) - lens.centre_px()).norm();
      plane.row<float>(y)[static_cast<std::size_t>(x)] = r < circle ? 0.5F : 0.01F;
    }
  }
  const VisibleField field(plane, lens);
  CHECK(field.contains(lens.centre_px() + Vec2(circle - 3, 0)));
  CHECK_FALSE(field.contains(lens.centre_px() + Vec2(circle + 2, 0)));
  CHECK_FALSE(field.contains(lens.centre_px() - Vec2(0, circle + 2)));
  CHECK_FALSE(field.contains(lens.centre_px() + Vec2(circle - 3, 0), 10));
}

}  // namespace seamwright::test
