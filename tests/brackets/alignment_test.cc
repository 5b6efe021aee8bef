#include "jobs/brackets/alignment.h"

#include <cmath>

#include <catch2/catch.hpp>

#include "jobs/brackets/noise_fit.h"
#include "tests/brackets/synthetic_brackets.h"

using namespace seamwright;
using test::Photograph;
using test::Random;
using test::seed;

namespace {

// Rounded texture in all directions, and a bright round window.
double room(double u, double v, int channel) {
  const double texture =
      0.12 + 0.05 * std::sin(0.21 * u + 0.13 * v) + 0.04 * std::sin(0.05 * u - 0.17 * v + channel);
  const double r = std::hypot(u - 150, v - 110);
  return texture + 3.0 / (1 + std::exp(0.8 * (r - 30)));
}

Exposed expose(const Photograph& how, Random& random) {
  Frame frame = test::photograph(320, 240, room, how, random);
  return {std::move(frame.image), TransferCurve::linear(), how.exposure};
}

}  // namespace

TEST_CASE("A stand that moved is found to a twentieth of a pixel across three stops") {
  CAPTURE(seed());
  Random random(3);
  int cases = 0;
  double worst_px = 0;
  for (int i = 0; i < 12; ++i) {
    const Photograph still{};
    const Photograph moved{.exposure = i % 2 == 0 ? 0.125 : 4.0,
                           .shift_u_px = random.uniform(-6, 6),
                           .shift_v_px = random.uniform(-6, 6),
                           .turn_rad = random.uniform(-0.01, 0.01)};
    const Exposed reference = expose(still, random);
    const auto found =
        measure_motion(reference, expose(moved, random), noise_of_frame(reference, 0.99), 0.99);
    CAPTURE(moved.shift_u_px, moved.shift_v_px, moved.turn_rad);
    REQUIRE(found);
    const double off = std::hypot(found->motion.shift_u_px - moved.shift_u_px,
                                  found->motion.shift_v_px - moved.shift_v_px);
    CHECK(off < 0.05);
    CHECK(std::abs(found->motion.turn_rad - moved.turn_rad) * 160 < 0.05);
    worst_px = std::max(worst_px, off);
    ++cases;
  }
  CHECK(cases == 12);
  INFO("worst " << worst_px << " px");
  CHECK(worst_px > 0);
}

TEST_CASE("Nothing is found where a picture tells nothing of one direction") {
  CAPTURE(seed());
  Random random(4);
  const auto stripes = [](double u, double, int) { return 0.3 + 0.2 * std::sin(0.3 * u); };
  Exposed a{test::photograph(200, 160, stripes, {}, random).image, TransferCurve::linear(), 1};
  Exposed b{test::photograph(200, 160, stripes, {.exposure = 0.5}, random).image,
            TransferCurve::linear(), 0.5};
  CHECK_FALSE(measure_motion(a, b, noise_of_frame(a, 0.99), 0.99));
}

TEST_CASE("A moved frame lands on the reference, its clipped pixels wholly white") {
  CAPTURE(seed());
  Random random(5);
  const Photograph quiet{.full_well_e = 1e9, .read_noise_e = 1};
  Photograph moved = quiet;
  moved.shift_u_px = 1.4;
  moved.shift_v_px = -2.3;
  moved.turn_rad = 0.004;
  const Exposed still = expose(quiet, random);
  const Image back = moved_onto_reference(
      expose(moved, random), {moved.shift_u_px, moved.shift_v_px, moved.turn_rad}, 0.99);
  double worst = 0;
  int compared = 0, white = 0;
  for (int y = 8; y < 232; ++y) {
    const auto a = still.image.row<std::uint16_t>(y);
    const auto b = back.row<std::uint16_t>(y);
    for (std::size_t x = 8; x < 312; ++x) {
      const bool is_white = b[3 * x] == 65535;
      CHECK((b[3 * x + 1] == 65535) == is_white);
      white += is_white ? 1 : 0;
      // A clipped source reaches two pixels; the steep edge of the window is left aside, too.
      if (std::hypot(static_cast<double>(x) - 150, y - 110) < 45) continue;
      worst = std::max(worst, std::abs(a[3 * x] - b[3 * x]) / 65535.0);
      ++compared;
    }
  }
  CHECK(compared > 50000);
  CHECK(white > 1000);
  CHECK(worst < 5e-4);
}
