#include "sampling/spline_plane.h"

#include <cmath>
#include <vector>

#include <catch2/catch.hpp>

#include "tests/support/random.h"

namespace seamwright::test {

namespace {

Image noise_image(int width, int height, std::uint64_t stream) {
  Random random(stream);
  Image image(width, height, Channels::grey, SampleType::f32);
  for (int y = 0; y < height; ++y) {
    for (float& value : image.row<float>(y)) value = static_cast<float>(random.normal(1));
  }
  return image;
}

constexpr double kNoBlur_px = 0.05;  // all weight on the middle tap

}  // namespace

TEST_CASE("a spline passes through its samples", "[spline]") {
  CAPTURE(seed());
  const Image image = noise_image(37, 29, 1);
  const SplinePlane plane(image, kNoBlur_px);
  for (int y = 3; y < 26; ++y) {
    for (int x = 3; x < 34; ++x) {
      REQUIRE(plane.contains(Vec2(x + 0.5, y + 0.5)));
      CHECK(plane.value(x + 0.5, y + 0.5) ==
            Approx(image.row<float>(y)[static_cast<std::size_t>(x)]).margin(2e-5));
    }
  }
}

TEST_CASE("a spline follows a smooth function between its samples", "[spline]") {
  const auto f = [](double u, double v) { return std::sin(0.5 * u) * std::cos(0.4 * v); };
  for (const int step : {1, 2}) {
    Image image(80, 60, Channels::grey, SampleType::f32);
    for (int y = 0; y < 60; ++y) {
      for (int x = 0; x < 80; ++x) {
        image.row<float>(y)[static_cast<std::size_t>(x)] =
            static_cast<float>(f((x + 0.5) / step, (y + 0.5) / step));
      }
    }
    const SplinePlane plane(image, kNoBlur_px, step);
    CHECK(plane.step() == step);
    double worst = 0;
    for (double v = 15; v < 45; v += 0.37) {
      for (double u = 15; u < 65; u += 0.41) {
        worst = std::max(worst, std::abs(plane.value(u, v) - f(u / step, v / step)));
      }
    }
    CHECK(worst < 1e-3);
  }
}

TEST_CASE("gradients are those of the values", "[spline]") {
  const SplinePlane fine(noise_image(40, 40, 2), 0.7);
  const SplinePlane coarse(noise_image(80, 80, 2), 1.5, 2);
  for (const SplinePlane* plane : {&fine, &coarse}) {
    for (double v = 10.1; v < 30; v += 3.3) {
      for (double u = 10.2; u < 30; u += 2.7) {
        const auto sample = plane->sample(u, v);
        constexpr double kStep = 1e-2;
        CHECK(sample.value == Approx(plane->value(u, v)).margin(1e-6));
        CHECK(sample.du ==
              Approx((plane->value(u + kStep, v) - plane->value(u - kStep, v)) / (2 * kStep))
                  .margin(2e-3));
        CHECK(sample.dv ==
              Approx((plane->value(u, v + kStep) - plane->value(u, v - kStep)) / (2 * kStep))
                  .margin(2e-3));
      }
    }
  }
}

TEST_CASE("the claimed noise correlation is that of sampled noise", "[spline]") {
  CAPTURE(seed());
  const Image image = noise_image(600, 400, 3);
  for (const auto& [blur_px, step] : {std::pair{0.7, 1}, std::pair{1.5, 2}}) {
    const SplinePlane plane(image, blur_px, step);
    CHECK(plane.noise_correlation(0) == Approx(1));
    CHECK(plane.noise_correlation(40) == 0);
    Random random(4);
    for (const double lag : {0.5, 1.0, 1.7, 2.5, 4.0}) {
      double product = 0;
      double square = 0;
      for (int i = 0; i < 60000; ++i) {
        const double u = random.uniform(20, 570);
        const double v = random.uniform(20, 380);
        const double here = plane.value(u, v);
        product += here * plane.value(u + lag, v);
        square += here * here;
      }
      CAPTURE(blur_px, step, lag);
      CHECK(plane.noise_correlation(lag) == Approx(product / square).margin(0.02));
      CHECK(plane.noise_correlation(-lag) == plane.noise_correlation(lag));
    }
  }
}

}  // namespace seamwright::test
