#include <cstring>
#include <numbers>

#include <catch2/catch.hpp>

#include "base/parallel.h"
#include "compose/render/render.h"
#include "tests/render/sphere_scene.h"

using namespace seamwright;
using test::Colour;

namespace {

Panorama render(const Rig& rig, const std::vector<Frame>& frames, const RenderOptions& options) {
  auto panorama = render_panorama(rig, frames, options);
  if (!panorama) FAIL(panorama.error().line());
  return std::move(*panorama);
}

bool same_bytes(const Image& a, const Image& b) {
  return a.bytes().size() == b.bytes().size() &&
         std::memcmp(a.bytes().data(), b.bytes().data(), a.bytes().size()) == 0;
}

Error error_of(const Rig& rig, const std::vector<Frame>& frames, const RenderOptions& options) {
  auto panorama = render_panorama(rig, frames, options);
  REQUIRE_FALSE(panorama);
  return panorama.error();
}

}  // namespace

TEST_CASE("A stitched panorama is the scene") {
  const auto scene = test::wavy_scene(20);
  for (const int lens_count : {2, 4}) {
    const Rig rig = lens_count == 2 ? test::small_body(41, 300)
                                    : test::random_rig(42, {.lens_count = 4,
                                                            .width_px = 360,
                                                            .height_px = 360,
                                                            .centre_spread_px = 4,
                                                            .mount_spread_rad = rad_from_deg(10),
                                                            .fringe_spread = 0,
                                                            .vignetting = 0});
    const auto frames = test::shoot(rig, scene);
    for (const auto kernel : {ResampleKernel::catmull_rom, ResampleKernel::lanczos3}) {
      const Panorama panorama = render(rig, frames, {.width_px = 480, .kernel = kernel});
      const double psnr = test::psnr_db(panorama.image, scene);
      INFO("PSNR " << psnr << " dB, " << lens_count << " lenses");
      CHECK(psnr > 55);
      CHECK(panorama.report.unseen_px == 0);
    }
  }
}

TEST_CASE("The panorama points where conventions.h says") {
  // A coloured spot per axis: middle of the picture is +z, a quarter to the right +x, up is −y.
  struct Spot {
    Vec3 direction;
    Colour colour;
    double u, v;  // share of the panorama's width and height, by hand
  };
  const Spot spots[] = {
      {{0, 0, 1}, {0.9, 0.1, 0.1}, 0.5, 0.5},   {{1, 0, 0}, {0.1, 0.9, 0.1}, 0.75, 0.5},
      {{-1, 0, 0}, {0.1, 0.1, 0.9}, 0.25, 0.5}, {{0, 0, -1}, {0.9, 0.9, 0.1}, 0.0, 0.5},
      {{0, -1, 0}, {0.1, 0.9, 0.9}, 0.3, 0.0},  {{0, 1, 0}, {0.9, 0.1, 0.9}, 0.9, 1.0}};
  const auto scene = [&](const Vec3& d) {
    for (const Spot& spot : spots) {
      if (angle_between(d, spot.direction) < 0.2) return spot.colour;
    }
    return Colour{0.4, 0.4, 0.4};
  };
  const Rig rig = test::small_body(43);
  const Panorama panorama = render(rig, test::shoot(rig, scene), {.width_px = 640});
  for (const Spot& spot : spots) {
    const int x = std::min(static_cast<int>(spot.u * 640), 639);
    const int y = std::min(static_cast<int>(spot.v * 320), 319);
    for (int c = 0; c < 3; ++c) {
      CHECK(srgb_to_linear(test::code_at(panorama.image, x, y, c)) ==
            Approx(spot.colour[static_cast<std::size_t>(c)]).margin(0.02));
    }
  }
}

TEST_CASE("The left and right borders and the poles join") {
  const Rig rig = test::small_body(44);
  const Panorama panorama = render(rig, test::shoot(rig, test::wavy_scene(8)), {.width_px = 800});
  const Image& image = panorama.image;
  // A step across the border, or across the pole, is no larger than the steps beside it.
  double border = 0;
  double beside = 0;
  double pole = 0;
  double near_pole = 0;
  for (int y = 0; y < image.height(); ++y) {
    border = std::max(border, std::abs(test::code_at(image, 0, y, 0) -
                                       test::code_at(image, image.width() - 1, y, 0)));
    beside =
        std::max(beside, std::abs(test::code_at(image, 0, y, 0) - test::code_at(image, 1, y, 0)));
  }
  for (const int edge : {0, image.height() - 1}) {
    const int inner = edge == 0 ? 1 : edge - 1;
    for (int x = 0; x < image.width(); ++x) {
      const int opposite = (x + image.width() / 2) % image.width();
      pole = std::max(pole, std::abs(test::code_at(image, x, edge, 0) -
                                     test::code_at(image, opposite, edge, 0)));
      near_pole = std::max(near_pole, std::abs(test::code_at(image, x, edge, 0) -
                                               test::code_at(image, x, inner, 0)));
    }
  }
  CHECK(border < 1.3 * beside + 1e-3);
  CHECK(pole < 1.3 * near_pole + 1e-3);
  CHECK(beside > 1e-3);  // the pattern does change there
}

TEST_CASE("Two lenses of 200 degrees leave no holes; two of 170 do, and they are counted") {
  const auto bright = [](const Vec3&) { return Colour{0.5, 0.5, 0.5}; };
  Rig rig = test::nominal_rig({.width_px = 300, .height_px = 300});
  auto panorama = render(rig, test::shoot(rig, bright), {.width_px = 512});
  CHECK(panorama.report.unseen_px == 0);
  double darkest = 1;
  for (int y = 0; y < 256; ++y) {
    for (int x = 0; x < 512; ++x) {
      darkest = std::min(darkest, test::code_at(panorama.image, x, y, 1));
    }
  }
  CHECK(darkest == Approx(linear_to_srgb(0.5)).margin(2e-4));

  rig = test::nominal_rig({.theta_max_rad = rad_from_deg(85), .width_px = 300, .height_px = 300});
  panorama = render(rig, test::shoot(rig, bright), {.width_px = 512});
  // The band between the caps of 85 degrees: pixels whose |d_z| < cos 85°.
  std::int64_t expected = 0;
  const Equirect raster{512, 256};
  for (int y = 0; y < 256; ++y) {
    for (int x = 0; x < 512; ++x) {
      const double z = raster.direction({x + 0.5, y + 0.5}).z();
      expected += std::abs(z) < std::cos(rad_from_deg(85)) ? 1 : 0;
    }
  }
  CHECK(panorama.report.unseen_px == expected);
}

TEST_CASE("Same bytes for one and two threads and for every band size") {
  const Rig rig = test::small_body(45, 200, 1e-3, 0.3);
  const auto frames =
      test::shoot(rig, test::wavy_scene(15), {.exposure = {{1, 1, 1}, {0.7, 0.75, 0.8}}});
  const RenderOptions options{.width_px = 500};
  std::optional<ThreadLimit> limit(std::in_place, 1);
  const Panorama reference = render(rig, frames, options);
  limit.reset();
  for (const int threads : {1, 2}) {
    limit.emplace(threads);
    for (const int band_rows : {20, 4000}) {
      RenderOptions banded = options;
      banded.band_rows = band_rows;
      CHECK(same_bytes(render(rig, frames, banded).image, reference.image));
    }
  }
}

TEST_CASE("Native width is 2π times the peak resolution, to a multiple of 16") {
  // A lens that shows 200 degrees, θ alike, on a circle of 3700 px resolves 3700 / 200 = 18.5 px a
  // degree around its axis, and 360 of these are 6660 px. (Its rim resolves more, so the field ends
  // near the axis here.)
  const double focal_px = 3700 / rad_from_deg(200.0);
  Rig rig = test::nominal_rig({.curve = LensCurve::equidistant, .theta_max_rad = rad_from_deg(1)});
  for (MountedLens& mounted : rig.lenses) mounted.lens.terms[kFocal] = focal_px;
  REQUIRE(rig.peak_px_per_rad() == Approx(focal_px).epsilon(1e-4));
  CHECK(native_width(rig) == 6656);  // 416 × 16; 6660 is 416.25 × 16

  const Rig body = test::small_body(46, 200);
  const auto frames = test::shoot(body, test::wavy_scene(4));
  const Panorama native = render(body, frames, {});
  CHECK(native.report.width_px == native_width(body));
  CHECK(native.report.height_px == native.report.width_px / 2);
  CHECK_FALSE(native.report.beyond_native());
  CHECK(render(body, frames, {.width_px = native.report.width_px + 2}).report.beyond_native());
}

TEST_CASE("A template serves frames of another size of the same framing") {
  const Rig rig = test::small_body(47, 720);
  const Rig half = rig.scaled_to(360, 360);
  const auto scene = test::wavy_scene(10);
  const Panorama panorama = render(rig, test::shoot(half, scene), {.width_px = 512});
  CHECK(test::psnr_db(panorama.image, scene) > 55);
  CHECK(panorama.report.native_width_px == native_width(half));
}

TEST_CASE("Frames and options that do not fit are refused in words") {
  const Rig rig = test::small_body(48, 120);
  const auto frames = test::shoot(rig, test::wavy_scene(4));
  CHECK(error_of(rig, {frames[0]}, {}).field == "frames");
  CHECK(error_of(rig, frames, {.width_px = 513}).field == "width");
  CHECK(error_of(rig, frames, {.width_px = -2}).field == "width");
  CHECK(error_of(rig, frames, {.width_px = 300000}).field == "width");
  CHECK(error_of(rig, frames, {.blend_half_width_deg = 0}).field == "blend half width");
  CHECK(error_of(rig, frames, {.band_rows = 0}).field == "band rows");

  auto wide = frames;
  for (Frame& frame : wide) frame.image = Image(240, 120, Channels::rgb, SampleType::u16);
  CHECK_THAT(error_of(rig, wide, {}).line(), Catch::Contains("template's 120 x 120"));
  auto unequal = frames;
  unequal[1].image = Image(122, 122, Channels::rgb, SampleType::u16);
  CHECK_THAT(error_of(rig, unequal, {}).line(), Catch::Contains("first frame is 120 x 120"));
  auto grey = frames;
  grey[1].image = Image(120, 120, Channels::grey, SampleType::u16);
  CHECK_THAT(error_of(rig, grey, {}).line(), Catch::Contains("channels or bit depth"));
  auto profile = frames;
  profile[1].image.icc_profile.resize(3);
  CHECK_THAT(error_of(rig, profile, {}).line(), Catch::Contains("profile"));
}

TEST_CASE("A stop asked for while rendering is an error of its own kind") {
  const Rig rig = test::small_body(49, 120);
  const auto frames = test::shoot(rig, test::wavy_scene(4));
  int calls = 0;
  const auto stop_at_third = [&](const Progress&) { return ++calls < 3; };
  const auto panorama = render_panorama(rig, frames, {.band_rows = 16}, stop_at_third);
  REQUIRE_FALSE(panorama);
  CHECK(panorama.error().kind == ErrorKind::cancelled);
  CHECK(calls == 3);
}

namespace {

// Pairs of pixels in both directions averaged.
Image halved(const Image& image) {
  Image half(image.width() / 2, image.height() / 2, Channels::rgb, SampleType::f32);
  for (int y = 0; y < half.height(); ++y) {
    const auto row = half.row<float>(y);
    for (int x = 0; x < half.width(); ++x) {
      for (int c = 0; c < 3; ++c) {
        double sum = 0;
        for (int j = 0; j < 2; ++j) {
          for (int i = 0; i < 2; ++i) sum += test::code_at(image, 2 * x + i, 2 * y + j, c);
        }
        row[static_cast<std::size_t>(3 * x + c)] = static_cast<float>(sum / 4);
      }
    }
  }
  return half;
}

// By how much one tile of `other` lies right of and below that of `one`, px: least squares on the
// brightness (Lucas & Kanade 1981, IJCAI).
Vec2 tile_shift(const Image& one, const Image& other, int left, int top, int side) {
  Eigen::Matrix2d normal = Eigen::Matrix2d::Zero();
  Vec2 right_side = Vec2::Zero();
  for (int y = top; y < top + side; ++y) {
    for (int x = left; x < left + side; ++x) {
      for (int c = 0; c < 3; ++c) {
        const auto at = [&](const Image& image, int i, int j) {
          return test::code_at(image, i, j, c);
        };
        const Vec2 slope(0.5 * (at(one, x + 1, y) - at(one, x - 1, y)),
                         0.5 * (at(one, x, y + 1) - at(one, x, y - 1)));
        normal += slope * slope.transpose();
        right_side -= slope * (at(other, x, y) - at(one, x, y));
      }
    }
  }
  return normal.ldlt().solve(right_side);
}

}  // namespace

TEST_CASE("Twice the width moves nothing by a hundredth of a degree", "[render]") {
  constexpr int kWidth = 720;
  constexpr int kTile = 40;
  const Rig rig = test::small_body(53, 400);
  const auto frames = test::shoot(rig, test::wavy_scene(12));
  const auto plan = plan_seams(rig, frames, {});
  if (!plan) FAIL(plan.error().line());
  const auto rendered = [&](int width) {
    auto panorama = render_panorama(rig, frames, {.width_px = width, .seams = &*plan});
    if (!panorama) FAIL(panorama.error().line());
    return std::move(panorama->image);
  };
  const Image one = halved(rendered(kWidth));
  const Image other = halved(halved(rendered(2 * kWidth)));
  double worst_deg = 0;
  for (int top = kTile; top + 2 * kTile < one.height(); top += kTile / 2) {
    for (int left = 1; left + kTile + 1 < one.width(); left += kTile / 2) {
      const Vec2 shift = tile_shift(one, other, left, top, kTile);
      worst_deg = std::max(worst_deg, shift.norm() * 360 / one.width());
    }
  }
  CAPTURE(worst_deg);
  CHECK(worst_deg < 0.01);
  // A tile that is moved by that much would be told.
  Image moved = other;
  for (int y = 0; y < moved.height(); ++y) {
    const auto from = other.row<float>(y);
    const auto to = moved.row<float>(y);
    const double part = 0.015 * one.width() / 360;
    for (std::size_t i = 3; i < to.size(); ++i) {
      to[i] = static_cast<float>(part * static_cast<double>(from[i - 3]) +
                                 (1 - part) * static_cast<double>(from[i]));
    }
  }
  CHECK(tile_shift(one, moved, 2 * kTile, 2 * kTile, kTile).x() * 360 / one.width() > 0.01);
}
