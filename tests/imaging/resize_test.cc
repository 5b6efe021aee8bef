#include "imaging/resize.h"

#include <cmath>

#include <catch2/catch.hpp>

#include "tests/imaging/pictures.h"

namespace seamwright {
namespace {

TEST_CASE("a resized wave is the same wave", "[imaging][resize]") {
  const auto wave = [](int width, int height) {
    Image image(width, height, Channels::rgb, SampleType::u16);
    for (int y = 0; y < height; ++y) {
      for (int x = 0; x < width; ++x) {
        for (int c = 0; c < 3; ++c) {
          const double u = 2 * 3.14159265358979 * (x + 0.5) / width;
          const double v = 3 * (y + 0.5) / height;
          image.row<std::uint16_t>(y)[static_cast<std::size_t>(3 * x + c)] =
              static_cast<std::uint16_t>(32768 + 9000 * std::sin(3 * u + c) * std::cos(v));
        }
      }
    }
    return image;
  };
  int cases = 0;
  for (const auto& [width, height] : {std::pair{100, 50}, {64, 32}, {300, 170}}) {
    const Image out = resized(wave(200, 100), width, height, Borders::wrap);
    const Image expected = wave(width, height);
    double worst = 0;
    for (int y = 2; y < height - 2; ++y) {
      for (std::size_t i = 0; i < static_cast<std::size_t>(3 * width); ++i) {
        worst = std::max(worst, std::abs(out.row<std::uint16_t>(y)[i] -
                                         1.0 * expected.row<std::uint16_t>(y)[i]));
      }
    }
    CAPTURE(width, height, worst);
    CHECK(worst < 60);  // 0.1 % of full scale, the wrap included
    ++cases;
  }
  CHECK(cases == 3);
}

TEST_CASE("the same size is the same picture, and flat stays flat", "[imaging][resize]") {
  CAPTURE(test::seed());
  test::Random random(7);
  for (const SampleType type : test::kAllTypes) {
    for (const Channels channels : test::kAllChannels) {
      const Image image = test::random_image(random, 23, 11, channels, type);
      CHECK(test::same_picture(resized(image, 23, 11, Borders::repeat), image));
    }
  }
  Image flat(40, 20, Channels::grey, SampleType::u16);
  for (int y = 0; y < 20; ++y) {
    for (auto& sample : flat.row<std::uint16_t>(y)) sample = 12345;
  }
  const Image small = resized(flat, 7, 3, Borders::repeat);
  for (const auto sample : small.row<std::uint16_t>(1)) CHECK(sample == 12345);
}

}  // namespace
}  // namespace seamwright
