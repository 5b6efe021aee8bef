#include "sampling/picture_sampler.h"

#include <cmath>
#include <functional>

#include <catch2/catch.hpp>

#include "tests/support/random.h"

using namespace seamwright;
using seamwright::test::Random;

namespace {

Image grey_float(int width, int height, const std::function<double(double, double)>& value) {
  Image image(width, height, Channels::grey, SampleType::f32);
  for (int y = 0; y < height; ++y) {
    for (int x = 0; x < width; ++x) {
      image.row<float>(y)[static_cast<std::size_t>(x)] =
          static_cast<float>(value(x + 0.5, y + 0.5));
    }
  }
  return image;
}

}  // namespace

TEST_CASE("Tap weights sum to one at every phase and stretch") {
  CAPTURE(test::seed());
  Random random(1);
  for (const auto kind : {ResampleKernel::catmull_rom, ResampleKernel::lanczos3}) {
    for (const double stretch : {1.0, 1.5, 3.7, 20.0}) {
      const KernelWeights kernel(kind, stretch);
      REQUIRE(kernel.taps() % 2 == 0);
      for (int i = 0; i < 200; ++i) {
        std::vector<float> weights(static_cast<std::size_t>(kernel.taps()));
        kernel.at(random.uniform(0, 1), weights.data());
        double sum = 0;
        for (const float weight : weights) sum += weight;
        CHECK(sum == Approx(1.0).margin(1e-5));
      }
    }
  }
}

TEST_CASE("Catmull-Rom weights are Keys' cubic convolution with a = -1/2") {
  // Keys 1981, IEEE ASSP 29:1153-1160, evaluated by hand: at ½ the weights are -1/16, 9/16, 9/16,
  // -1/16; at ¼ they are -9/128, 111/128, 29/128, -3/128.
  const KernelWeights kernel(ResampleKernel::catmull_rom);
  REQUIRE(kernel.taps() == 4);
  float w[4];
  kernel.at(0.5, w);
  CHECK(w[0] == Approx(-1.0 / 16));
  CHECK(w[1] == Approx(9.0 / 16));
  kernel.at(0.25, w);
  CHECK(w[0] == Approx(-9.0 / 128));
  CHECK(w[1] == Approx(111.0 / 128));
  CHECK(w[2] == Approx(29.0 / 128));
  CHECK(w[3] == Approx(-3.0 / 128));
}

TEST_CASE("Sampling at a pixel's centre returns the pixel") {
  CAPTURE(test::seed());
  Random random(2);
  Image image(9, 7, Channels::rgb, SampleType::u16);
  for (int y = 0; y < 7; ++y) {
    for (auto& sample : image.row<std::uint16_t>(y)) {
      sample = static_cast<std::uint16_t>(random.integer(0, 65535));
    }
  }
  for (const auto kind : {ResampleKernel::catmull_rom, ResampleKernel::lanczos3}) {
    const KernelWeights kernel(kind);
    const PictureSampler sampler(image, kernel);
    for (int y = 0; y < 7; ++y) {
      for (int x = 0; x < 9; ++x) {
        float values[3];
        sampler.sample({x + 0.5, y + 0.5}, values);
        for (int c = 0; c < 3; ++c) {
          const auto i = static_cast<std::size_t>(x * 3 + c);
          CHECK(std::abs(values[c] * 65535.0F - image.row<std::uint16_t>(y)[i]) < 0.02F);
          CHECK(sampler.sample({x + 0.5, y + 0.5}, c) == values[c]);
        }
      }
    }
  }
}

TEST_CASE("Catmull-Rom repeats slopes exactly and stays close on curves") {
  CAPTURE(test::seed());
  Random random(3);
  const KernelWeights kernel(ResampleKernel::catmull_rom);
  const auto slope = [](double x, double y) { return 0.1 + 0.02 * x + 0.013 * y; };
  const auto curve = [](double x, double y) { return 0.2 + 0.001 * x * x + 0.01 * y; };
  const Image sloped = grey_float(24, 24, slope);
  const Image curved = grey_float(24, 24, curve);
  const PictureSampler slope_sampler(sloped, kernel);
  const PictureSampler curve_sampler(curved, kernel);
  for (int i = 0; i < 500; ++i) {
    const Vec2 px(random.uniform(3, 21), random.uniform(3, 21));
    CHECK(slope_sampler.sample(px, 0) == Approx(slope(px.x(), px.y())).margin(2e-6));
    CHECK(curve_sampler.sample(px, 0) == Approx(curve(px.x(), px.y())).margin(2e-6));
  }
}

TEST_CASE("A hard edge does not ring") {
  const Image window = grey_float(40, 40, [](double x, double) { return x < 20 ? 0.05 : 1.0; });
  for (const auto kind : {ResampleKernel::catmull_rom, ResampleKernel::lanczos3}) {
    const KernelWeights kernel(kind);
    const PictureSampler sampler(window, kernel);
    for (double x = 10; x < 30; x += 0.01) {
      const float value = sampler.sample({x, 20}, 0);
      CHECK(value >= 0.05F);
      CHECK(value <= 1.0F);
    }
  }
}

TEST_CASE("Beyond the border the border's samples repeat") {
  const Image image = grey_float(8, 8, [](double x, double y) { return 0.1 * x + 0.01 * y; });
  const KernelWeights kernel(ResampleKernel::catmull_rom);
  const PictureSampler sampler(image, kernel);
  CHECK(sampler.sample({-5.0, 4.5}, 0) == Approx(0.05 + 0.045));
  CHECK(sampler.sample({4.5, 20.0}, 0) == Approx(0.45 + 0.075));
  CHECK(sampler.sample({1e6, -1e6}, 0) == Approx(0.75 + 0.005));
}

TEST_CASE("A stretched kernel averages what the smaller picture cannot show") {
  // Stripes two pixels wide, shown four times smaller: grey, not moiré.
  const Image stripes =
      grey_float(80, 80, [](double x, double) { return std::fmod(x, 2.0) < 1 ? 0.0 : 1.0; });
  for (const auto kind : {ResampleKernel::catmull_rom, ResampleKernel::lanczos3}) {
    const KernelWeights fine(kind);
    const KernelWeights wide(kind, 4.0);
    float lowest = 1;
    float highest = 0;
    for (double x = 30; x < 50; x += 0.37) {
      const float value = PictureSampler(stripes, wide).sample({x, 40}, 0);
      lowest = std::min(lowest, value);
      highest = std::max(highest, value);
    }
    CHECK(lowest > 0.49F);
    CHECK(highest < 0.51F);
    CHECK(PictureSampler(stripes, fine).sample({30.5, 40}, 0) == Approx(0.0).margin(1e-6));
  }
}

TEST_CASE("Alpha is not a colour") {
  Image image(4, 4, Channels::rgba, SampleType::u8);
  for (int y = 0; y < 4; ++y) {
    for (std::size_t i = 0; i < 16; ++i) {
      image.row<std::uint8_t>(y)[i] = i % 4 == 3 ? std::uint8_t{0} : std::uint8_t{255};
    }
  }
  const KernelWeights kernel(ResampleKernel::catmull_rom);
  const PictureSampler sampler(image, kernel);
  REQUIRE(sampler.colours() == 3);
  float values[3];
  sampler.sample({2, 2}, values);
  for (const float value : values) CHECK(value == Approx(1.0));
}
