#include "brackets/tone.h"

#include <cmath>

#include <catch2/catch.hpp>

#include "brackets/guided.h"
#include "imaging/icc.h"
#include "imaging/transfer.h"

using namespace seamwright;

namespace {

Image even(double r, double g, double b) {
  Image image(64, 48, Channels::rgb, SampleType::f32);
  for (int y = 0; y < image.height(); ++y) {
    auto row = image.row<float>(y);
    for (std::size_t x = 0; x < row.size(); x += 3) {
      row[x] = static_cast<float>(r);
      row[x + 1] = static_cast<float>(g);
      row[x + 2] = static_cast<float>(b);
    }
  }
  return image;
}

}  // namespace

TEST_CASE("The tone curve is a line to its knee, smooth there, and ends at white") {
  for (const double white : {1.5, 4.0, 40.0, 4000.0}) {
    CAPTURE(white);
    const ToneMap tone({.exposure = 1, .white = white, .knee = 0.25});
    CHECK(tone(0.1) == Approx(0.1));
    CHECK(tone(0.25) == Approx(0.25));
    CHECK((tone(0.2501) - tone(0.25)) / 1e-4 == Approx(1).margin(0.01));
    CHECK(tone(white) == Approx(1));
    CHECK(tone(2 * white) == 1.0);
    double before = 0;
    int rose = 0;
    for (double light = 1e-4; light < white; light *= 1.1) {
      CHECK(tone(light) > before);
      before = tone(light);
      ++rose;
    }
    CHECK(rose > 90);
  }
}

TEST_CASE("Exposure comes before the curve, and a white of 1 is a plain line") {
  const ToneMap tone({.exposure = 2, .white = 1, .knee = 0.25});
  CHECK(tone(0.2) == Approx(0.4));
  CHECK(tone(0.9) == 1.0);
  CHECK(tone(-0.1) == 0.0);
}

TEST_CASE("Display keeps hues and says what its codes mean") {
  const Image light = even(3.0, 1.5, 0.75);
  const DisplayOptions options{.tone = {.exposure = 1, .white = 8, .knee = 0.25}};
  const auto shown = for_display(light, options);
  REQUIRE(shown);
  CHECK(shown->type() == SampleType::u16);
  const auto row = shown->row<std::uint16_t>(5);
  const double r = srgb_to_linear(row[0] / 65535.0);
  const double g = srgb_to_linear(row[1] / 65535.0);
  const double b = srgb_to_linear(row[2] / 65535.0);
  CHECK(r == Approx(ToneMap(options.tone)(3.0)).margin(1e-4));
  CHECK(g / r == Approx(0.5).margin(1e-3));
  CHECK(b / r == Approx(0.25).margin(1e-3));

  Image wide = light;
  wide.icc_profile = make_wide_profile(Transfer::linear);
  const auto shown_wide = for_display(wide, options);
  REQUIRE(shown_wide);
  CHECK(shown_wide->icc_profile == make_wide_profile(Transfer::srgb));
}

TEST_CASE("A chosen curve shows the middle in the middle and the brightest as white") {
  Image light = even(0.02, 0.02, 0.02);
  for (std::size_t x = 0; x < 30; ++x) light.row<float>(3)[x] = 7.0F;  // a lamp: 10 pixels
  const Image* pictures[] = {&light};
  const ToneCurve curve = choose_tone(pictures);
  CHECK(curve.exposure * 0.02 == Approx(0.22).epsilon(0.05));
  CHECK(curve.white == Approx(7.0 * curve.exposure).epsilon(0.05));
}

TEST_CASE("Local levelling brings a dark and a bright half nearer, without a halo") {
  Image light = even(0.01, 0.01, 0.01);
  for (int y = 0; y < light.height(); ++y) {
    auto row = light.row<float>(y);
    for (std::size_t x = 3 * 32; x < row.size(); ++x) row[x] = 2.0F;
  }
  const Image* pictures[] = {&light};
  DisplayOptions options{.tone = choose_tone(pictures)};
  const auto plain = for_display(light, options);
  options.local = 0.8;
  const auto levelled = for_display(light, options);
  REQUIRE(plain);
  REQUIRE(levelled);
  const auto a = plain->row<std::uint16_t>(20);
  const auto b = levelled->row<std::uint16_t>(20);
  CHECK(b[3 * 8] > a[3 * 8]);
  // Even halves stay even up to the edge, within a hundredth of white.
  for (std::size_t x = 0; x < 64; ++x) {
    CHECK(std::abs(b[3 * x] - b[x < 32 ? 0 : 3 * 63]) < 656);
  }
}

TEST_CASE("Tone options are checked") {
  const Image light = even(1, 1, 1);
  CHECK_FALSE(for_display(light, {.tone = {.exposure = 0}}));
  CHECK_FALSE(for_display(light, {.tone = {.knee = 2}}));
  CHECK_FALSE(for_display(light, {.tone = {}, .local = -1}));
}
