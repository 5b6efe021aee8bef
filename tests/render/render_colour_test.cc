#include <algorithm>
#include <set>

#include <catch2/catch.hpp>

#include "compose/render/render.h"
#include "tests/render/sphere_scene.h"

using namespace seamwright;
using test::Colour;

namespace {

Panorama render_coloured(const Rig& rig, const std::vector<Frame>& frames,
                         const RenderOptions& options) {
  auto panorama = render_panorama(rig, frames, options);
  if (!panorama) FAIL(panorama.error().line());
  return std::move(*panorama);
}

// Position, in px, of the sub-pixel peak of a channel around (x, y) along the row.
double ridge_u(const Image& image, int x, int y, int channel) {
  double sum = 0;
  double moment = 0;
  for (int i = x - 12; i <= x + 12; ++i) {
    const double light = srgb_to_linear(test::code_at(image, i, y, channel)) - 0.05;
    sum += light;
    moment += light * (i + 0.5);
  }
  return moment / sum;
}

}  // namespace

TEST_CASE("A smooth 16-bit slope has no 8-bit steps") {
  // Code values climb evenly with height and to one side.
  const auto scene = [](const Vec3& d) {
    const double light = srgb_to_linear(0.5 - 0.2 * d.y() + 0.03 * d.x());
    return Colour{light, light, light};
  };
  const Rig rig = test::small_body(51, 360);
  const Panorama panorama =
      render_coloured(rig, test::shoot(rig, scene), {.width_px = 1024, .gain_match = false});
  REQUIRE(panorama.image.type() == SampleType::u16);
  std::set<std::uint16_t> levels;
  int largest_step = 0;
  for (int y = 0; y < 512; ++y) {
    const auto row = panorama.image.row<std::uint16_t>(y);
    for (std::size_t x = 0; x < row.size(); x += 3) levels.insert(row[x]);
    if (y == 0) continue;
    const auto above = panorama.image.row<std::uint16_t>(y - 1);
    for (std::size_t x = 0; x < row.size(); x += 3) {
      largest_step = std::max(largest_step, std::abs(row[x] - above[x]));
    }
  }
  // The steepest true step of one row is hypot(0.2, 0.03) · π/512 · 65535 = 81.3 codes; an 8-bit
  // step is 257.
  CHECK(largest_step < 95);
  CHECK(levels.size() > 20000);  // of 26510 between the poles; 8 bits would leave 103
}

TEST_CASE("Unequal lenses give one picture without a step, half a stop and a cast apart") {
  const Rig rig = test::small_body(52, 360, 0, 0.4);
  const auto scene = [](const Vec3&) { return Colour{0.3, 0.25, 0.2}; };
  const auto frames =
      test::shoot(rig, scene, {.exposure = {{1, 1, 1}, {0.7071, 0.7071 * 1.1, 0.7071 * 0.9}}});
  const Panorama matched = render_coloured(rig, frames, {.width_px = 512});
  const Panorama raw = render_coloured(rig, frames, {.width_px = 512, .gain_match = false});
  for (int c = 0; c < 3; ++c) {
    const auto spread = [&](const Image& image) {
      double low = 1;
      double high = 0;
      for (int y = 0; y < image.height(); ++y) {
        for (int x = 0; x < image.width(); ++x) {
          low = std::min(low, test::code_at(image, x, y, c));
          high = std::max(high, test::code_at(image, x, y, c));
        }
      }
      return high - low;
    };
    CHECK(spread(matched.image) < 0.002);
    CHECK(spread(raw.image) > 0.03);
  }
}

TEST_CASE("Vignetting is divided out in linear light") {
  Rig rig = test::small_body(53, 360);
  for (MountedLens& mounted : rig.lenses) mounted.lens.vignetting = {-0.35, 0.05, -0.1};
  const auto scene = test::wavy_scene(8);
  const Panorama panorama =
      render_coloured(rig, test::shoot(rig, scene), {.width_px = 640, .gain_match = false});
  CHECK(test::psnr_db(panorama.image, scene) > 55);
}

TEST_CASE("Fringe terms register red and blue on green") {
  // Thin bright meridians 25 degrees apart. Fringes of 1 % move red by up to 2.5 px near the rim;
  // the panorama is rendered at native scale and the ridges of the colours must coincide.
  constexpr double kEvery = rad_from_deg(25);
  const auto scene = [](const Vec3& d) {
    const double longitude = std::atan2(d.x(), d.z());
    const double off = longitude - kEvery * std::round(longitude / kEvery);
    const double light = 0.05 + 0.6 * std::exp(-0.5 * off * off / (0.01 * 0.01));
    return Colour{light, light, light};
  };
  Rig rig = test::small_body(54, 520);
  for (MountedLens& mounted : rig.lenses) {
    mounted.lens.red = {0.004, 0.006, -0.002};
    mounted.lens.blue = {-0.003, -0.005, 0.002};
  }
  const auto frames = test::shoot(rig, scene);
  const int width = 16 * 64;
  const Panorama corrected = render_coloured(rig, frames, {.width_px = width, .gain_match = false});
  Rig ignorant = rig;
  for (MountedLens& mounted : ignorant.lenses) mounted.lens.red = mounted.lens.blue = {};
  const Panorama ignored =
      render_coloured(ignorant, frames, {.width_px = width, .gain_match = false});

  double worst_px = 0;
  double worst_ignored_px = 0;
  int ridges = 0;
  for (int ridge = -3; ridge <= 3; ++ridge) {
    const int x = static_cast<int>(width * (0.5 + ridge * kEvery / (2 * kPi)));
    for (int y = width / 4 - 60; y <= width / 4 + 60; y += 20) {
      for (const int c : {0, 2}) {
        const auto shift = [&](const Image& image) {
          return std::abs(ridge_u(image, x, y, c) - ridge_u(image, x, y, 1));
        };
        worst_px = std::max(worst_px, shift(corrected.image));
        worst_ignored_px = std::max(worst_ignored_px, shift(ignored.image));
        ++ridges;
      }
    }
  }
  INFO("corrected " << worst_px << " px, ignored " << worst_ignored_px << " px");
  CHECK(ridges == 98);
  CHECK(worst_px <= 0.05);
  CHECK(worst_ignored_px > 1.0);
}

TEST_CASE("A clipped window stays white on the lens whose gain is below one") {
  const Rig rig = test::small_body(55);
  const auto base = test::wavy_scene(6);
  const auto scene = [&](const Vec3& d) {
    const bool window = std::abs(d.x()) < 0.3 && std::abs(d.y()) < 0.3;
    return window ? Colour{50, 50, 50} : base(d);
  };
  // Gains near (0.76, 0.84, 1.1) for the brighter lens: a cast that would show on white.
  const auto frames = test::shoot(rig, scene, {.exposure = {{1, 1, 1}, {0.55, 0.7, 1.2}}});
  const Panorama panorama = render_coloured(rig, frames, {.width_px = 640});
  const auto& gains = panorama.report.gains.gains;
  REQUIRE(gains[0][0] < 0.8);
  for (const int x : {320, 0}) {  // a window before each lens
    for (int c = 0; c < 3; ++c) {
      CHECK(test::code_at(panorama.image, x, 160, c) > 0.999);
    }
  }
}

TEST_CASE("A window's edge has no dark line and no colour") {
  const Rig rig = test::small_body(56);
  const auto scene = [](const Vec3& d) {
    return d.x() > 0.2 ? Colour{50, 50, 50} : Colour{0.03, 0.03, 0.03};
  };
  for (const auto kernel : {ResampleKernel::catmull_rom, ResampleKernel::lanczos3}) {
    const Panorama panorama =
        render_coloured(rig, test::shoot(rig, scene), {.width_px = 720, .kernel = kernel});
    double darkest = 1;
    for (int x = 180; x < 540; ++x) {
      for (int c = 0; c < 3; ++c) {
        darkest = std::min(darkest, test::code_at(panorama.image, x, 180, c));
      }
      CHECK(test::code_at(panorama.image, x, 180, 0) ==
            Approx(test::code_at(panorama.image, x, 180, 2)).margin(1e-3));
    }
    CHECK(darkest > linear_to_srgb(0.03) - 2e-4);
  }
}

TEST_CASE("Float frames keep light above white; grey and 8-bit frames render") {
  const Rig rig = test::small_body(57, 120);
  const auto bright = [](const Vec3&) { return Colour{3.0, 2.0, 0.5}; };
  const Panorama hdr = render_coloured(
      rig, test::shoot(rig, bright, {.type = SampleType::f32, .transfer = Transfer::linear}),
      {.width_px = 256});
  REQUIRE(hdr.image.type() == SampleType::f32);
  CHECK(test::code_at(hdr.image, 128, 64, 0) == Approx(3.0).margin(1e-4));

  const auto dim = [](const Vec3&) { return Colour{0.2, 0.2, 0.2}; };
  const Panorama grey =
      render_coloured(rig, test::shoot(rig, dim, {.channels = Channels::grey}), {.width_px = 256});
  CHECK(grey.image.channels() == Channels::grey);
  CHECK(test::code_at(grey.image, 128, 64, 0) == Approx(linear_to_srgb(0.2)).margin(1e-4));

  const Panorama eight =
      render_coloured(rig, test::shoot(rig, dim, {.type = SampleType::u8}), {.width_px = 256});
  CHECK(eight.image.type() == SampleType::u16);
  CHECK(test::code_at(eight.image, 128, 64, 2) == Approx(linear_to_srgb(0.2)).margin(2e-3));
}

TEST_CASE("A panorama smaller than native does not alias") {
  // Fine stripes at the frames' limit, rendered five times smaller: flat, not moiré.
  const Rig rig = test::small_body(58, 480);
  const auto stripes = [](const Vec3& d) {
    const double light = 0.3 + 0.25 * std::sin(240 * d.y());
    return Colour{light, light, light};
  };
  const Panorama small = render_coloured(rig, test::shoot(rig, stripes), {.width_px = 160});
  double low = 1;
  double high = 0;
  for (int y = 30; y < 50; ++y) {
    for (int x = 0; x < 160; ++x) {
      low = std::min(low, test::code_at(small.image, x, y, 1));
      high = std::max(high, test::code_at(small.image, x, y, 1));
    }
  }
  CHECK(high - low < 0.05);
}
