#include "compose/render/gain.h"

#include <cmath>

#include <catch2/catch.hpp>

#include "tests/render/sphere_scene.h"

using namespace seamwright;
using test::Colour;

namespace {

// Error in EV of the gains against exposures, common factor per channel taken out.
double worst_error_ev(const GainMatch& match, const std::vector<Colour>& exposure) {
  double worst = 0;
  for (std::size_t c = 0; c < 3; ++c) {
    double mean = 0;
    for (std::size_t i = 0; i < exposure.size(); ++i) {
      mean += std::log2(match.gains[i][c] * exposure[i][c]) / static_cast<double>(exposure.size());
    }
    for (std::size_t i = 0; i < exposure.size(); ++i) {
      worst = std::max(worst, std::abs(std::log2(match.gains[i][c] * exposure[i][c]) - mean));
    }
  }
  return worst;
}

}  // namespace

TEST_CASE("Half a stop and a colour cast between two lenses are found") {
  const Rig rig = test::small_body(31, 360, 0, 0.4);
  const std::vector<Colour> exposure = {{1, 1, 1}, {0.70710678 * 1.05, 0.70710678, 0.62}};
  const auto frames = test::shoot(rig, test::wavy_scene(6), {.exposure = exposure});
  const GainMatch match = match_gains(rig, frames, TransferCurve::srgb());
  CHECK(match.complete);
  REQUIRE(match.pairs.size() == 1);
  CHECK(match.pairs[0].patches > 500);
  CHECK(match.pairs[0].ratio_ev[1] == Approx(-0.5).margin(0.01));
  CHECK(worst_error_ev(match, exposure) < 0.01);
  for (std::size_t c = 0; c < 3; ++c) {
    CHECK(match.gains[0][c] * match.gains[1][c] == Approx(1.0));
  }
}

TEST_CASE("Near objects that sit elsewhere in the two frames do not pull the gains") {
  // A third of the ring shows something else in the second lens: three times brighter, other hue.
  const Rig rig = test::small_body(32);
  const auto scene = test::wavy_scene(6);
  const auto other = [&](const Vec3& d) {
    Colour light = scene(d);
    if (d.x() > 0.5) light = {std::min(0.9, 3 * light[0]), light[1], 0.3 * light[2]};
    return light;
  };
  const std::vector<Colour> exposure = {{1, 1, 1}, {0.8, 0.8, 0.8}};
  auto frames = test::shoot(rig, scene, {.exposure = exposure});
  frames[1] = test::shoot(rig, other, {.exposure = exposure})[1];
  const GainMatch match = match_gains(rig, frames, TransferCurve::srgb());
  CHECK(worst_error_ev(match, exposure) < 0.06);
}

TEST_CASE("Clipped windows are not compared") {
  const Rig rig = test::small_body(33);
  const auto scene = test::wavy_scene(6);
  const auto with_window = [&](const Vec3& d) {
    return std::abs(d.x()) > 0.75 ? Colour{40, 40, 40} : scene(d);
  };
  const std::vector<Colour> exposure = {{1, 1, 1}, {0.6, 0.6, 0.6}};
  const auto frames = test::shoot(rig, with_window, {.exposure = exposure});
  const GainMatch match = match_gains(rig, frames, TransferCurve::srgb());
  CHECK(match.complete);
  CHECK(worst_error_ev(match, exposure) < 0.01);
}

TEST_CASE("Six lenses in a ring agree by least squares") {
  const Rig rig = test::random_rig(34, {.lens_count = 6,
                                        .theta_max_rad = rad_from_deg(60),
                                        .width_px = 140,
                                        .height_px = 140,
                                        .centre_spread_px = 2,
                                        .fringe_spread = 0,
                                        .vignetting = 0});
  std::vector<Colour> exposure;
  for (int i = 0; i < 6; ++i) {
    const double e = std::exp2(0.3 * std::sin(2.0 * i));
    exposure.push_back({e, 1.1 * e, e / (1 + 0.05 * i)});
  }
  const auto frames = test::shoot(rig, test::wavy_scene(6), {.exposure = exposure});
  const GainMatch match = match_gains(rig, frames, TransferCurve::srgb());
  CHECK(match.complete);
  CHECK(match.pairs.size() >= 6);
  CHECK(worst_error_ev(match, exposure) < 0.01);
}

TEST_CASE("A black frame leaves the gains at one and says so") {
  const Rig rig = test::small_body(35);
  auto frames = test::shoot(rig, test::wavy_scene(6));
  frames[1].image = Image(360, 360, Channels::rgb, SampleType::u16);
  const GainMatch match = match_gains(rig, frames, TransferCurve::srgb());
  CHECK_FALSE(match.complete);
  for (const ChannelGains& gains : match.gains) CHECK(gains == ChannelGains{1, 1, 1});
}
