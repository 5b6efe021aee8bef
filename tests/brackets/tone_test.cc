#include "jobs/brackets/tone.h"

#include <cmath>
#include <limits>

#include <catch2/catch.hpp>

#include "imaging/icc.h"
#include "imaging/transfer.h"
#include "jobs/brackets/guided.h"

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

// y'' at x by central differences.
double bend_at(const DisplayMap& shown, double x, double step) {
  return (shown(x + step) - 2 * shown(x) + shown(x - step)) / (step * step);
}

constexpr double kWhites[] = {1.01, 1.5, 4.0, 40.0, 4000.0};

}  // namespace

// The wishes of jobs/brackets/tone.h, by their numbers.

TEST_CASE("1: the display curve is proportional to light up to where it may bend, slope 1") {
  int checked = 0;
  for (const double white : kWhites) {
    for (const double straight_to : {0.1, 0.25, 0.6}) {
      CAPTURE(white, straight_to);
      const DisplayMap shown({.gain = 1, .brightest = white, .straight_to = straight_to});
      CHECK(shown(0) == 0);
      CHECK(shown(1e-6) == 1e-6);
      CHECK(shown(0.4 * straight_to) == 0.4 * straight_to);
      CHECK(shown(straight_to) == straight_to);
      CHECK((shown(straight_to + 1e-6) - straight_to) / 1e-6 == Approx(1).margin(1e-4));
      ++checked;
    }
  }
  CHECK(checked == 15);
}

TEST_CASE("2: the brightest is shown as white, exactly, and so is all beyond") {
  for (const double white : kWhites) {
    CAPTURE(white);
    const DisplayMap shown({.gain = 1, .brightest = white, .straight_to = 0.25});
    CHECK(shown(white) == 1.0);
    CHECK(shown(white * (1 - 1e-9)) == Approx(1).margin(1e-8));  // and no jump before it
    CHECK(shown(2 * white) == 1.0);
  }
}

TEST_CASE("3: what is brighter is shown brighter, up to white") {
  int rose = 0;
  for (const double white : kWhites) {
    CAPTURE(white);
    const DisplayMap shown({.gain = 1, .brightest = white, .straight_to = 0.25});
    double before = 0;
    for (double light = 1e-4; light < white; light *= 1.01) {
      CAPTURE(light);
      CHECK(shown(light) > before);
      before = shown(light);
      ++rose;
    }
  }
  CHECK(rose > 4500);
}

TEST_CASE("4: the curve's second derivative has no jump") {
  for (const double white : kWhites) {
    CAPTURE(white);
    const double straight_to = 0.25;
    const DisplayMap shown({.gain = 1, .brightest = white, .straight_to = straight_to});
    // A jump at the place where the straight part ends would stay as the distance shrinks.
    CHECK(std::abs(bend_at(shown, straight_to + 4e-4, 1e-4)) < 0.2);
    CHECK(std::abs(bend_at(shown, straight_to - 4e-4, 1e-4)) < 1e-6);
    // Nowhere else either: steps of y'' shrink with the grid.
    const auto largest_step = [&](int count) {
      double most = 0;
      const double spacing = (0.99 * std::min(white, 3.0) - 0.01) / count;
      double before = bend_at(shown, 0.01, 1e-4);
      for (int i = 1; i <= count; ++i) {
        const double here = bend_at(shown, 0.01 + i * spacing, 1e-4);
        most = std::max(most, std::abs(here - before));
        before = here;
      }
      return most;
    };
    CHECK(largest_step(4000) < 0.6 * largest_step(2000));
  }
}

TEST_CASE("5: far up, each stop gets a like share") {
  const DisplayMap shown({.gain = 1, .brightest = 4096, .straight_to = 0.25});
  const double share = shown(4096) - shown(2048);
  int stops = 0;
  for (double light = 8; light < 4096; light *= 2, ++stops) {
    CAPTURE(light);
    CHECK(shown(2 * light) - shown(light) == Approx(share).epsilon(0.05));
  }
  CHECK(stops == 9);
}

TEST_CASE("The gain comes before the curve, and a brightest of 1 is a plain line") {
  const DisplayMap line({.gain = 2, .brightest = 1, .straight_to = 0.25});
  CHECK(line(0.2) == Approx(0.4));
  CHECK(line(0.9) == 1.0);
  CHECK(line(-0.1) == 0.0);
  CHECK(line(std::numeric_limits<double>::quiet_NaN()) == 0.0);
  const DisplayMap bent({.gain = 2, .brightest = 8, .straight_to = 0.25});
  const DisplayMap plain({.gain = 1, .brightest = 8, .straight_to = 0.25});
  CHECK(bent(1.5) == plain(3.0));
  CHECK(bent(4) == 1.0);
  CHECK(bent(-0.1) == 0.0);
  CHECK(bent(std::numeric_limits<double>::quiet_NaN()) == 0.0);
}

TEST_CASE("6: Display keeps hues and says what its codes mean") {
  const Image light = even(3.0, 1.5, 0.75);
  const DisplayOptions options{.curve = {.gain = 1, .brightest = 8, .straight_to = 0.25}};
  const auto shown = for_display(light, options);
  REQUIRE(shown);
  CHECK(shown->type() == SampleType::u16);
  const auto row = shown->row<std::uint16_t>(5);
  const double r = srgb_to_linear(row[0] / 65535.0);
  const double g = srgb_to_linear(row[1] / 65535.0);
  const double b = srgb_to_linear(row[2] / 65535.0);
  CHECK(r == Approx(DisplayMap(options.curve)(3.0)).margin(1e-4));
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
  const DisplayCurve curve = choose_curve(pictures);
  CHECK(curve.gain * 0.02 == Approx(0.22).epsilon(0.05));
  CHECK(curve.brightest == Approx(7.0 * curve.gain).epsilon(0.05));
}

TEST_CASE("Local levelling brings a dark and a bright half nearer, without a halo") {
  Image light = even(0.01, 0.01, 0.01);
  for (int y = 0; y < light.height(); ++y) {
    auto row = light.row<float>(y);
    for (std::size_t x = 3 * 32; x < row.size(); ++x) row[x] = 2.0F;
  }
  const Image* pictures[] = {&light};
  DisplayOptions options{.curve = choose_curve(pictures)};
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

TEST_CASE("Display options are checked") {
  const Image light = even(1, 1, 1);
  CHECK_FALSE(for_display(light, {.curve = {.gain = 0}}));
  CHECK_FALSE(for_display(light, {.curve = {.straight_to = 2}}));
  CHECK_FALSE(for_display(light, {.curve = {}, .local = -1}));
}
