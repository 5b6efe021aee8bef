#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>

#include <catch2/catch.hpp>
#include <opencv2/imgproc.hpp>

#include "imaging/resize.h"

namespace seamwright {
namespace {

template <class T>
Image counted(int width, int height, Channels channels) {
  Image image(width, height, channels, sample_type_of<T>);
  for (int y = 0; y < height; ++y) {
    const auto row = image.row<T>(y);
    for (std::size_t i = 0; i < row.size(); ++i) {
      row[i] = static_cast<T>((31 * static_cast<std::size_t>(y) + 7 * i) % 251);
    }
  }
  return image;
}

// The mean as it is defined.
template <class T>
double mean_of(const Image& image, int factor, int x, int y, int channel) {
  double sum = 0;
  for (int dy = 0; dy < factor; ++dy) {
    for (int dx = 0; dx < factor; ++dx) {
      const int i = (factor * x + dx) * image.channel_count() + channel;
      sum += image.row<T>(factor * y + dy)[static_cast<std::size_t>(i)];
    }
  }
  return sum / (factor * factor);
}

template <class T>
void check_means(Channels channels, double rounding) {
  for (const int factor : {1, 2, 3}) {
    CAPTURE(factor);
    const Image image = counted<T>(12, 6, channels);
    const Image small = shrunk(image, factor);
    REQUIRE(small.width() == 12 / factor);
    REQUIRE(small.height() == 6 / factor);
    REQUIRE(small.type() == image.type());
    for (int y = 0; y < small.height(); ++y) {
      for (int i = 0; i < small.width() * small.channel_count(); ++i) {
        const int x = i / small.channel_count();
        const double mean = mean_of<T>(image, factor, x, y, i % small.channel_count());
        CHECK(small.row<T>(y)[static_cast<std::size_t>(i)] == Approx(mean).margin(rounding));
      }
    }
  }
}

TEST_CASE("an averaged plane holds the means of the areas, as OpenCV has them",
          "[imaging][shrink]") {
  const Image plane = counted<float>(40, 26, Channels::grey);
  for (const int width : {40, 27, 20, 13, 1}) {
    CAPTURE(width);
    const Image small = averaged(plane, width);
    REQUIRE(small.width() == width);
    REQUIRE(small.height() == static_cast<int>(std::lround(26.0 * width / 40)));
    if (26 * width % 40 != 0) continue;  // OpenCV would squeeze it
    cv::Mat expected;
    cv::resize(cv::Mat(26, 40, CV_32F, const_cast<float*>(plane.row<float>(0).data())), expected,
               {small.width(), small.height()}, 0, 0, cv::INTER_AREA);
    for (int y = 0; y < small.height(); ++y) {
      for (int x = 0; x < width; ++x) {
        CHECK(small.row<float>(y)[static_cast<std::size_t>(x)] ==
              Approx(expected.at<float>(y, x)).epsilon(1e-5));
      }
    }
  }
}

TEST_CASE("a shrunk picture holds the means, colour by colour", "[imaging][shrink]") {
  check_means<std::uint8_t>(Channels::grey, 0.5);
  check_means<std::uint16_t>(Channels::rgb, 0.5);
  check_means<float>(Channels::rgba, 1e-4);
}

// Outside check: OpenCV's averaging over whole pixels.
TEST_CASE("OpenCV shrinks to the same means", "[imaging][shrink]") {
  Image image = counted<float>(12, 6, Channels::rgb);
  const cv::Mat large(6, 12, CV_32FC3, image.bytes().data(), image.row_bytes());
  cv::Mat expected;
  cv::resize(large, expected, {4, 2}, 0, 0, cv::INTER_AREA);
  const Image small = shrunk(image, 3);
  for (int y = 0; y < 2; ++y) {
    for (int i = 0; i < 12; ++i) {
      CHECK(small.row<float>(y)[static_cast<std::size_t>(i)] ==
            Approx(expected.ptr<float>(y)[i]).margin(1e-4));
    }
  }
}

TEST_CASE("white stays white and the profile goes with the picture", "[imaging][shrink]") {
  Image image(4, 4, Channels::rgb, SampleType::u16);
  for (int y = 0; y < 4; ++y) std::ranges::fill(image.row<std::uint16_t>(y), std::uint16_t{65535});
  image.icc_profile = {std::byte{1}, std::byte{2}};
  image.transfer = Transfer::linear;
  const Image small = shrunk(image, 4);
  CHECK(small.row<std::uint16_t>(0)[2] == 65535);
  CHECK(small.icc_profile == image.icc_profile);
  CHECK(small.transfer == Transfer::linear);
}

}  // namespace
}  // namespace seamwright
