#include "jobs/look/picture_light.h"

#include <cmath>
#include <numbers>
#include <vector>

#include <catch2/catch.hpp>

#include "imaging/transfer.h"

using namespace seamwright;

namespace {

SpherePatch grey(double weight, double level_ev) {
  const double light = std::exp2(level_ev);
  return {.weight = weight, .light = {light, light, light}};
}

SpherePatch tinted_grey(double weight, double level_ev, double red_ev, double blue_ev) {
  const double light = std::exp2(level_ev);
  return {.weight = weight,
          .light = {light * std::exp2(red_ev), light, light * std::exp2(blue_ev)}};
}

Image panorama_of(double code, SampleType type, Channels channels = Channels::rgb) {
  Image image(64, 32, channels, type);
  for (int y = 0; y < 32; ++y) {
    if (type == SampleType::u16) {
      for (auto& sample : image.row<std::uint16_t>(y)) {
        sample = static_cast<std::uint16_t>(std::lround(65535 * code));
      }
    } else {
      for (auto& sample : image.row<float>(y)) sample = static_cast<float>(code);
    }
  }
  return image;
}

}  // namespace

TEST_CASE("the level is the mean of the middle fifth of the weight, by hand", "[look]") {
  // Five alike: the middle one. Four: a tenth of the total of each of the two in the middle.
  CHECK(*middle_ev(std::vector{grey(1, -9), grey(1, -3), grey(1, -2), grey(1, 0), grey(1, 5)}) ==
        Approx(-2));
  CHECK(*middle_ev(std::vector{grey(1, -9), grey(1, -3), grey(1, -2), grey(1, 5)}) == Approx(-2.5));
  // Of a total of 10 what lies between 4 and 6 counts: -4 has 1 of its 5 inside, -1 the next 0.5, 0
  // the last 0.5.
  CHECK(*middle_ev(std::vector{grey(4.5, 0), grey(5, -4), grey(0.5, -1)}) ==
        Approx((1 * -4.0 + 0.5 * -1.0 + 0.5 * 0.0) / 2));
  // One patch is its own level, whatever it weighs.
  CHECK(*middle_ev(std::vector{grey(0.1, -2.25)}) == Approx(-2.25));
  // Four tenths of lamps or of night move nothing.
  std::vector<SpherePatch> room(6, grey(1, -3));
  for (int i = 0; i < 4; ++i) room.push_back(grey(1, 9));
  CHECK(*middle_ev(room) == Approx(-3));
}

TEST_CASE("luminance weighs by BT.709, and black counts as nothing", "[look]") {
  // ITU-R BT.709-6, 3.2: 0.2126 R + 0.7152 G + 0.0722 B.
  CHECK(luminance_of({1, 1, 1}) == Approx(1));
  CHECK(luminance_of({1, 0, 0}) == Approx(0.2126));
  CHECK(*middle_ev(std::vector{SpherePatch{.weight = 1, .light = {0.5, 0, 0}}}) ==
        Approx(std::log2(0.5 * 0.2126)));
  const std::vector<SpherePatch> black = {{.weight = 4}, {.weight = 1}};
  CHECK_FALSE(middle_ev(black));
  CHECK_FALSE(light_of(black));
  CHECK(*middle_ev(std::vector{SpherePatch{.weight = 9}, grey(1, -1)}) == Approx(-1));
}

TEST_CASE("white is where the greys are, not where the colours are", "[look]") {
  // A tenth of warm ceiling, half a stop of red and 0.4 less of blue; the rest green paper and
  // wood.
  std::vector<SpherePatch> room;
  for (int i = 0; i < 10; ++i) room.push_back(tinted_grey(1, -1.5, 0.5, -0.4));
  for (int i = 0; i < 50; ++i) room.push_back(tinted_grey(1, -3, -1.1, -0.6));
  for (int i = 0; i < 40; ++i) room.push_back(tinted_grey(1, -3, 1.1, -1.6));
  const auto light = light_of(room);
  REQUIRE(light);
  CHECK(light->red_ev == Approx(0.5).margin(1e-3));
  CHECK(light->blue_ev == Approx(-0.4).margin(1e-3));
  CHECK(light->grey_share == Approx(0.1));
  // The plain mean of all would have been green.
  CHECK(light->red_ev > 0.1 * 0.5 + 0.5 * -1.1 + 0.4 * 1.1);
}

TEST_CASE("clipped patches and dark ones tell no white, and where nothing is grey that is said",
          "[look]") {
  std::vector<SpherePatch> room(10, tinted_grey(1, -2, 0.25, -0.25));
  for (int i = 0; i < 20; ++i) {
    room.push_back({.weight = 1, .light = {0.99, 0.99, 0.99}});  // clipped to white
    room.push_back(tinted_grey(1, -9, 0, 0));                    // noise in the dark
  }
  const auto light = light_of(room);
  REQUIRE(light);
  CHECK(light->red_ev == Approx(0.25).margin(1e-3));
  CHECK(light->blue_ev == Approx(-0.25).margin(1e-3));
  CHECK(light->grey_share == Approx(0.2));

  const auto green = light_of(std::vector{tinted_grey(1, -2, -1.5, -1.5)});
  REQUIRE(green);
  CHECK(green->grey_share == 0);
  CHECK(green->red_ev == 0);
  CHECK(green->blue_ev == 0);
}

TEST_CASE("a panorama is weighed by solid angle, in linear light", "[look]") {
  // sRGB code 0.5 is light 0.2140 (IEC 61966-2-1).
  const auto patches = patches_of(panorama_of(0.5, SampleType::u16));
  REQUIRE(patches);
  CHECK(patches->front().light[1] == Approx(0.21404).epsilon(1e-3));
  double above_60 = 0, all = 0;
  for (std::size_t i = 0; i < patches->size(); ++i) {
    all += (*patches)[i].weight;
    if (i / 64 < 32 / 6) above_60 += (*patches)[i].weight;
  }
  // Rows 0…4 reach down to 90 − 5 · 180 / 32 degrees: a cap of (1 − sin) / 2 of the sphere.
  const double latitude_rad = std::numbers::pi * (0.5 - 5.0 / 32);
  CHECK(above_60 / all == Approx(0.5 * (1 - std::sin(latitude_rad))).epsilon(0.01));

  Image light = panorama_of(0.5, SampleType::f32);
  light.transfer = Transfer::linear;
  CHECK(patches_of(light)->front().light[0] == Approx(0.5));
  // Half of it unseen: the level is that of the rest.
  for (int y = 16; y < 32; ++y) {
    for (auto& sample : light.row<float>(y)) sample = 0;
  }
  CHECK(*middle_ev(*patches_of(light)) == Approx(-1));
  Image one = panorama_of(0.25, SampleType::f32, Channels::grey);
  one.transfer = Transfer::linear;
  const auto told = light_of(*patches_of(one));
  REQUIRE(told);
  CHECK(told->level_ev == Approx(-2));
  CHECK(told->red_ev == 0);
}

TEST_CASE("a large panorama tells the same as a small one", "[look]") {
  Image large(1500, 750, Channels::rgb, SampleType::f32);
  large.transfer = Transfer::linear;
  for (int y = 0; y < 750; ++y) {
    auto row = large.row<float>(y);
    for (std::size_t x = 0; x < row.size(); x += 3) {
      const float light = y < 375 ? 0.5F : 0.125F;
      row[x] = 1.1F * light;
      row[x + 1] = light;
      row[x + 2] = 0.9F * light;
    }
  }
  const auto patches = patches_of(large);
  REQUIRE(patches);
  CHECK(patches->size() == 500 * 250);
  const auto told = light_of(*patches);
  REQUIRE(told);
  CHECK(told->red_ev == Approx(std::log2(1.1)).margin(1e-4));
  CHECK(told->blue_ev == Approx(std::log2(0.9)).margin(1e-4));
  CHECK(told->level_ev == Approx(std::log2(luminance_of({1.1, 1, 0.9})) - 2).margin(0.01));
}
