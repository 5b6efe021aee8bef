#include "features/image_circle.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <functional>
#include <limits>
#include <span>
#include <vector>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "base/parallel.h"
#include "imaging/convert.h"
#include "imaging/read_image.h"
#include "tests/support/matchers.h"
#include "tests/support/random.h"
#include "tests/support/shared_data.h"

namespace seamwright {

using test::Random;
using test::seed;
using test::shared_data;

namespace {

struct Disc {
  Vec2 centre_px = Vec2::Zero();
  double radius_px = 0;
};

// Share of a pixel inside the disc, by 8 × 8 samples.
double cover(const Disc& disc, int x, int y) {
  const double outside = (Vec2(x + 0.5, y + 0.5) - disc.centre_px).norm() - disc.radius_px;
  if (std::abs(outside) > 1) return outside < 0 ? 1 : 0;
  int inside = 0;
  for (int j = 0; j < 8; ++j) {
    for (int i = 0; i < 8; ++i) {
      const Vec2 at(x + (i + 0.5) / 8, y + (j + 0.5) / 8);
      if ((at - disc.centre_px).norm() <= disc.radius_px) ++inside;
    }
  }
  return inside / 64.0;
}

// Brightness 0…1 of the scene inside and of the surround outside, at a pixel's centre.
using Light = std::function<double(const Vec2&)>;

// A grey frame: scene inside the disc, surround outside, white noise on everything.
Image frame_of(int width, int height, const Disc& disc, const Light& scene, const Light& surround,
               double noise, Random& random, SampleType type = SampleType::u16) {
  Image image(width, height, Channels::grey, SampleType::f32);
  image.transfer = Transfer::srgb;
  for (int y = 0; y < height; ++y) {
    const auto row = image.row<float>(y);
    for (int x = 0; x < width; ++x) {
      const Vec2 px(x + 0.5, y + 0.5);
      const double share = cover(disc, x, y);
      const double light = share * scene(px) + (1 - share) * surround(px);
      row[static_cast<std::size_t>(x)] = static_cast<float>(light + random.normal(noise));
    }
  }
  return to_type(image, type);
}

Light constant(double light) {
  return [light](const Vec2&) { return light; };
}

// Uniform 0…1 of a brick (a multiply-xorshift hash).
double chance_of(std::uint64_t key) {
  key = (key ^ (key >> 31U)) * 0x9E3779B97F4A7C15U;
  key = (key ^ (key >> 29U)) * 0xBF58476D1CE4E5B9U;
  return static_cast<double>((key ^ (key >> 32U)) >> 11U) * 0x1p-53;
}

// A room: bricks of random brightness, a tenth of them windows at full white.
Light bricks(std::uint64_t stream, double size_px, double darkest) {
  return [=](const Vec2& px) {
    const auto column = static_cast<std::uint64_t>(px.x() / size_px + 1000);
    const auto row = static_cast<std::uint64_t>(px.y() / (0.7 * size_px) + 1000);
    const double chance = chance_of((stream + seed()) * 1000003 + row * 4099 + column);
    return chance < 0.1 ? 1.0 : darkest + (0.6 - darkest) * (chance - 0.1) / 0.9;
  };
}

// A circle measured by hand on a photograph, and points of its rim. Both photographs are examples
// of the R package hemispheR (Francesco Chianucci, 2022; CRAN), under the MIT licence; they stay
// outside of this repository.
struct HandMeasured {
  Disc disc;
  std::vector<Vec2> rim;
};

double worst_distance(const ImageCircle& circle, std::span<const Vec2> rim) {
  double worst = 0;
  for (const Vec2& px : rim) {
    worst = std::max(worst, std::abs((px - circle.centre_px).norm() - circle.radius_px));
  }
  return worst;
}

}  // namespace

TEST_CASE("a sharp circle is found to a fifth of a pixel", "[image_circle]") {
  CAPTURE(seed());
  Random random(31);
  int cases = 0;
  double worst_px = 0;
  for (const SampleType type : {SampleType::u8, SampleType::u16, SampleType::f32}) {
    for (const double noise : {0.0, 0.004, 0.02}) {
      for (int repeat = 0; repeat < 2; ++repeat) {
        const int width = random.integer(500, 900);
        const int height = random.integer(500, 900);
        const double half = std::min(width, height) / 2.0;
        const Disc disc{
            {width / 2.0 + random.uniform(-15, 15), height / 2.0 + random.uniform(-9, 9)},
            random.uniform(0.6, 0.92) * half};
        const Image image = frame_of(width, height, disc, constant(random.uniform(0.3, 0.9)),
                                     constant(0.01), noise, random, type);
        CAPTURE(width, height, disc.centre_px, disc.radius_px, noise);
        const auto found = find_image_circle(image);
        INFO((found ? "" : found.error().line()));
        REQUIRE(found);
        CHECK((found->centre_px - disc.centre_px).norm() <= 0.2);
        CHECK(std::abs(found->radius_px - disc.radius_px) <= 0.2);
        CHECK(found->coverage > 0.9);
        worst_px = std::max({worst_px, (found->centre_px - disc.centre_px).norm(),
                             std::abs(found->radius_px - disc.radius_px)});
        ++cases;
      }
    }
  }
  CHECK(cases == 18);
  UNSCOPED_INFO(fmt::format("worst centre or radius error {:.3f} px", worst_px));
  CHECK(worst_px > 0);
}

TEST_CASE("the frame may cut the circle", "[image_circle]") {
  CAPTURE(seed());
  Random random(32);
  const int width = 900;
  const int height = 600;
  // Cut above and below; cut on three sides; only the corners left.
  const std::array<Disc, 3> discs = {
      {{{455.3, 297.8}, 410.4}, {{380.2, 310.9}, 420.7}, {{448.8, 301.4}, 497.1}}};
  for (const Disc& disc : discs) {
    const Image image = frame_of(width, height, disc, constant(0.6), constant(0.01), 0.004, random);
    CAPTURE(disc.centre_px, disc.radius_px);
    const auto found = find_image_circle(image);
    REQUIRE(found);
    CHECK((found->centre_px - disc.centre_px).norm() <= 0.2);
    CHECK(std::abs(found->radius_px - disc.radius_px) <= 0.2);
    CHECK(found->coverage < 0.8);
  }
}

TEST_CASE("dark scenes, windows and stray light at the rim are told from the rim",
          "[image_circle]") {
  CAPTURE(seed());
  Random random(33);
  int cases = 0;
  for (int repeat = 0; repeat < 6; ++repeat) {
    const Disc disc{{random.uniform(380, 420), random.uniform(360, 390)}, random.uniform(300, 345)};
    const Light room = bricks(static_cast<std::uint64_t>(repeat), 37, 0.02);
    const double dark_from = random.uniform(-kPi, kPi);
    // A third of the turn sees something black that ends in a wavy line before the rim.
    const Light scene = [&](const Vec2& px) {
      const Vec2 at = px - disc.centre_px;
      double angle = std::atan2(at.y(), at.x()) - dark_from;
      if (angle < 0) angle += 2 * kPi;
      const bool dark =
          angle < 2 * kPi / 3 && at.norm() > (0.85 + 0.05 * std::sin(9 * angle)) * disc.radius_px;
      return dark ? 0.012 : room(px);
    };
    // A halo that fades outwards on one side, with an edge of its own at 1.15 radii.
    const Light surround = [&](const Vec2& px) {
      const Vec2 at = px - disc.centre_px;
      const double side = std::max(0.0, at.x() / at.norm());
      const double beyond = at.norm() / disc.radius_px;
      return 0.01 + (beyond < 1.15 ? 0.02 * side / beyond : 0);
    };
    const Image image = frame_of(800, 760, disc, scene, surround, 0.003, random);
    CAPTURE(repeat, disc.centre_px, disc.radius_px, dark_from);
    const auto found = find_image_circle(image);
    REQUIRE(found);
    // Where a brick at the rim is nearly black there is no edge: robust, not perfect.
    CHECK((found->centre_px - disc.centre_px).norm() <= 0.5);
    CHECK(std::abs(found->radius_px - disc.radius_px) <= 0.5);
    CHECK(found->coverage > 0.3);
    CHECK(found->coverage < 0.8);
    ++cases;
  }
  CHECK(cases == 6);
}

TEST_CASE("pictures without an image circle are refused in one line", "[image_circle]") {
  CAPTURE(seed());
  Random random(34);
  const Disc none{{0, 0}, 0};
  const Light black = constant(0.01);
  const auto refused = [](const Image& image) {
    const auto found = find_image_circle(image);
    REQUIRE_FALSE(found);
    CHECK(found.error().kind == ErrorKind::numeric);
    CHECK(found.error().line().find('\n') == std::string::npos);
    CHECK(found.error().line().find("image circle") != std::string::npos);
    CHECK_FALSE(found.error().remedy.empty());
  };
  SECTION("lens cap") {
    for (const SampleType type : {SampleType::u8, SampleType::u16}) {
      refused(frame_of(640, 480, none, black, black, 0.002, random, type));
    }
  }
  SECTION("lens cap with hot pixels") {
    Image image = frame_of(640, 480, none, black, black, 0.002, random);
    for (int i = 0; i < 200; ++i) {
      const auto row = image.row<std::uint16_t>(random.integer(0, 479));
      row[static_cast<std::size_t>(random.integer(0, 639))] = 60000;
    }
    refused(image);
  }
  SECTION("even grey") { refused(frame_of(640, 480, none, black, constant(0.5), 0, random)); }
  SECTION("a room that fills the frame") {
    for (std::uint64_t i = 0; i < 8; ++i) {
      CAPTURE(i);
      refused(frame_of(640, 480, none, black, bricks(i, 53, 0.02), 0.003, random));
    }
  }
  SECTION("a fisheye whose circle lies outside of the frame") {
    const Disc disc{{321, 239}, 500};
    refused(frame_of(640, 480, disc, bricks(7, 41, 0.1), black, 0.003, random));
  }
  SECTION("a plain picture darkening towards its corners") {
    const Light darkening = [](const Vec2& px) {
      const double r = (px - Vec2(320, 240)).norm() / 400;
      return 0.7 * std::pow(std::cos(std::min(1.4, r)), 4);
    };
    refused(frame_of(640, 480, none, black, darkening, 0.003, random));
  }
  SECTION("black and tiny") {
    refused(Image(640, 480, Channels::rgb, SampleType::u8));
    refused(Image(20, 20, Channels::rgb, SampleType::u8));
    refused(Image(3000, 64, Channels::rgb, SampleType::u8));
  }
  SECTION("not a number anywhere") {
    Image image(400, 300, Channels::grey, SampleType::f32);
    for (int y = 0; y < 300; ++y) {
      std::ranges::fill(image.row<float>(y), std::numeric_limits<float>::quiet_NaN());
    }
    refused(image);
  }
}

TEST_CASE("same circle with one and two threads", "[image_circle]") {
  CAPTURE(seed());
  Random random(35);
  const Disc disc{{402.2, 377.7}, 330.3};
  const Image image = frame_of(800, 760, disc, bricks(3, 37, 0.02), constant(0.01), 0.004, random);
  std::vector<ImageCircle> found;
  for (const int threads : {1, 2}) {
    const ThreadLimit limit(threads);
    const auto circle = find_image_circle(image);
    REQUIRE(circle);
    found.push_back(*circle);
  }
  CHECK(found[0].centre_px == found[1].centre_px);
  CHECK(found[0].radius_px == found[1].radius_px);
  CHECK(found[0].residual_px == found[1].residual_px);
  CHECK(found[0].coverage == found[1].coverage);
}

// Measured by hand: eighteen crops of 120 × 120 px around the rim, levels 0–35 %, enlarged four
// times; in each the outermost point of the scene's light was read off to about 3 px, and a circle
// was fitted to them (RMS 7 px). The rim is soft: from full light to none it takes 80 px.
TEST_CASE("photograph of grass, circle cut above and below, against a hand measurement",
          "[image_circle][outside_data]") {
  const auto photo = shared_data("circular_fisheye/downward_circle.jpg");
  if (!photo) return;
  const HandMeasured hand{{{2168, 1402}, 2042},
                          {{121, 1368},
                           {134, 1330},
                           {271, 649},
                           {284, 597.5},
                           {297.5, 573},
                           {451.4, 302},
                           {168, 1813},
                           {250.5, 2093},
                           {409, 2445},
                           {664.5, 2776},
                           {4223, 1452},
                           {4175, 1011},
                           {4059, 603},
                           {3905, 337},
                           {3690.5, 66},
                           {4171, 1754},
                           {4016, 2281},
                           {3836, 2565}}};
  const auto image = read_image(*photo);
  REQUIRE(image);
  const auto found = find_image_circle(*image);
  REQUIRE(found);
  WARN(fmt::format(
      "grass: found ({:.1f}, {:.1f}) r {:.1f}, residual {:.1f} px, coverage {:.2f}; "
      "by hand ({}, {}) r {}",
      found->centre_px.x(), found->centre_px.y(), found->radius_px, found->residual_px,
      found->coverage, hand.disc.centre_px.x(), hand.disc.centre_px.y(), hand.disc.radius_px));
  CHECK(std::abs(found->radius_px - hand.disc.radius_px) <= 0.005 * hand.disc.radius_px);
  CHECK((found->centre_px - hand.disc.centre_px).norm() <= 0.005 * hand.disc.radius_px);
  // Single hand readings scatter by up to 16 px around their own fit.
  CHECK(worst_distance(*found, hand.rim) <= 0.0125 * hand.disc.radius_px);
}

// Measured by hand. Trees hide the sky all around the horizon: the rim itself shows only as a faint
// arc of stray light at the left (one code value of 255, over 24° of the turn) and in specks of
// light between the trees below. Crops at four times the size with levels 0–6 %: fifteen points
// along the arc's middle, eight specks. Fitted to both: (1141, 873), r 782.1; fitted to the arc and
// to the outermost speck (1531, 1564.5), so that no light is left outside: (1134.5, 888), r 783.0.
// So the radius is good to about 0.1 %, the arc to 2 px, but the centre only to about 8 px (1 %).
TEST_CASE("photograph of a forest canopy, circle almost unlit, against a hand measurement",
          "[image_circle][outside_data]") {
  const auto photo = shared_data("circular_fisheye/upward_circle.jpg");
  if (!photo) return;
  const HandMeasured hand{{{1137.5, 880.5}, 782.5},
                          {{535.9, 380.2},
                           {523.8, 397.9},
                           {515.4, 411.9},
                           {495.7, 435.8},
                           {467.7, 475.9},
                           {452.8, 503.1},
                           {448.0, 515.7},
                           {420.0, 571.9},
                           {408.7, 595.7},
                           {400.3, 612.6},
                           {389.9, 644.0},
                           {382.1, 671.5},
                           {371.7, 705.2},
                           {363.9, 747.2},
                           {361.6, 769.7}}};
  const auto image = read_image(*photo);
  REQUIRE(image);
  const auto found = find_image_circle(*image);
  REQUIRE(found);
  WARN(fmt::format(
      "canopy: found ({:.1f}, {:.1f}) r {:.1f}, residual {:.1f} px, coverage {:.2f}; "
      "by hand ({}, {}) r {}",
      found->centre_px.x(), found->centre_px.y(), found->radius_px, found->residual_px,
      found->coverage, hand.disc.centre_px.x(), hand.disc.centre_px.y(), hand.disc.radius_px));
  CHECK(std::abs(found->radius_px - hand.disc.radius_px) <= 0.005 * hand.disc.radius_px);
  // Middle of the two hand fits; their own spread is ± 8 px.
  CHECK((found->centre_px - hand.disc.centre_px).norm() <= 0.01 * hand.disc.radius_px);
  // The arc is 7 px wide: its middle lies inside of where its light ends.
  CHECK(worst_distance(*found, hand.rim) <= 0.01 * hand.disc.radius_px);
}

// The image circle's centre is the projection of the optical axis for a well-made lens, so it can
// be held against calibrations of the same four lenses (Won, Ryu, Lim 2020, published with the
// frames; row and column of the centre, first pixel's centre at 0 by the model's convention).
TEST_CASE("centres of four real interiors against their published principal points",
          "[image_circle][outside_data]") {
  const auto folder = shared_data("four_lens_interior");
  if (!folder) return;
  const std::array<Vec2, 4> published = {
      {{812.161, 756.715}, {818.345, 793.6}, {810.289, 769.73}, {819.766, 797.873}}};
  int cases = 0;
  for (int lens = 1; lens <= 4; ++lens) {
    std::vector<double> radii;
    for (int set = 1; set <= 2; ++set) {
      const auto image = read_image(*folder / fmt::format("cam{}_{:05d}.png", lens, set));
      REQUIRE(image);
      const auto found = find_image_circle(*image);
      CAPTURE(lens, set);
      REQUIRE(found);
      const Vec2 off = found->centre_px - published[static_cast<std::size_t>(lens - 1)];
      UNSCOPED_INFO(fmt::format("lens {} set {}: centre off by ({:.1f}, {:.1f}) px, r {:.1f}", lens,
                                set, off.x(), off.y(), found->radius_px));
      // One percent of the radius: mounting and a rim lit unevenly.
      CHECK(off.norm() <= 0.0125 * found->radius_px);
      radii.push_back(found->radius_px);
      ++cases;
    }
    // The same lens has the same circle whatever it looks at.
    CHECK(std::abs(radii[0] - radii[1]) <= 0.0125 * radii[0]);
  }
  CHECK(cases == 8);
}

}  // namespace seamwright
