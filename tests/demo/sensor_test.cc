#include "apps/demo/sensor.h"

#include <cmath>

#include <catch2/catch.hpp>
#include <lcms2.h>

using namespace seamwright;
using namespace seamwright::demo;

namespace {

constexpr int kSide = 300;

Image develop(float light, const Exposure& exposure) {
  Band band{0, kSide, {}};
  band.pixels.assign(static_cast<std::size_t>(kSide) * kSide, {light, light, light});
  Image image(kSide, kSide, Channels::rgb, SampleType::u16);
  develop_band(band, exposure, {}, TransferCurve::srgb(), image);
  return image;
}

struct Statistics {
  double mean = 0, deviation = 0;
};

/// Of one channel, in linear light.
Statistics statistics(const Image& image, std::size_t channel) {
  double sum = 0;
  double squares = 0;
  for (int y = 0; y < kSide; ++y) {
    const auto row = image.row<std::uint16_t>(y);
    for (std::size_t x = 0; x < kSide; ++x) {
      const double light = srgb_to_linear(row[3 * x + channel] / 65535.0);
      sum += light;
      squares += light * light;
    }
  }
  constexpr double kCount = kSide * kSide;
  const double mean = sum / kCount;
  return {mean, std::sqrt(squares / kCount - mean * mean)};
}

}  // namespace

TEST_CASE("noise has the level of the sensor's model") {
  const Sensor sensor;
  for (const float light : {0.02F, 0.1F, 0.4F, 0.8F}) {
    const Statistics s = statistics(develop(light, {.noise_seed = 5}), 1);
    CAPTURE(light);
    // Photons: variance signal / full well; read-out: 5 electrons.
    const double expected = std::sqrt(light / 15000.0 + std::pow(5.0 / 15000.0, 2));
    CHECK(sensor.noise(light) == Approx(expected).epsilon(1e-6));
    // Standard error of a deviation from 90,000 samples: 0.24 %; four times that.
    CHECK(s.deviation == Approx(expected).epsilon(0.01));
    CHECK(s.mean == Approx(light).margin(4 * expected / kSide));
  }
}

TEST_CASE("noise differs between channels, seeds and pixels and repeats for the same seed") {
  const Image a = develop(0.3F, {.noise_seed = 5});
  const Image again = develop(0.3F, {.noise_seed = 5});
  const Image other = develop(0.3F, {.noise_seed = 6});
  CHECK(std::equal(a.bytes().begin(), a.bytes().end(), again.bytes().begin()));
  double products = 0;
  double across_channels = 0;
  const double mean = 65535 * linear_to_srgb(0.3);
  double variance = 0;
  for (int y = 0; y < kSide; ++y) {
    const auto ra = a.row<std::uint16_t>(y);
    const auto rb = other.row<std::uint16_t>(y);
    for (std::size_t x = 0; x < kSide; ++x) {
      products += (ra[3 * x] - mean) * (rb[3 * x] - mean);
      across_channels += (ra[3 * x] - mean) * (ra[3 * x + 1] - mean);
      variance += (ra[3 * x] - mean) * (ra[3 * x] - mean);
    }
  }
  // Correlations of 90,000 independent pairs: standard error 0.0033; five times that.
  CHECK(std::abs(products / variance) < 0.017);
  CHECK(std::abs(across_channels / variance) < 0.017);
}

TEST_CASE("gain, vignetting and clipping") {
  const Image bright = develop(0.2F, {.gain = {2, 1, 0.5F}, .noisy = false});
  CHECK(statistics(bright, 0).mean == Approx(0.4).epsilon(1e-4));
  CHECK(statistics(bright, 1).mean == Approx(0.2).epsilon(1e-4));
  CHECK(statistics(bright, 2).mean == Approx(0.1).epsilon(1e-4));
  const Image clipped = develop(3.0F, {.noise_seed = 1});
  CHECK(statistics(clipped, 0).mean == Approx(1.0).margin(1e-9));
  Lens lens;
  lens.terms[kFocal] = 80;
  lens.terms[kCentreU] = 150;
  lens.terms[kCentreV] = 150;
  lens.width_px = kSide;
  lens.height_px = kSide;
  lens.vignetting = {.v1 = -0.2, .v2 = -0.1, .v3 = 0};
  const Image vignetted = develop(0.5F, {.lens = &lens, .noisy = false});
  const auto light_at = [&](int x, int y) {
    return srgb_to_linear(vignetted.row<std::uint16_t>(y)[static_cast<std::size_t>(3 * x)] /
                          65535.0);
  };
  for (const int x : {150, 200, 270}) {
    const double r_hat = std::hypot(x + 0.5 - 150, 0.5) / lens.rim_radius_px();
    CHECK(light_at(x, 150) ==
          Approx(0.5 * (1 - 0.2 * r_hat * r_hat - 0.1 * std::pow(r_hat, 4))).epsilon(1e-4));
  }
}

TEST_CASE("the profile is sRGB, without a date, byte for byte the same") {
  const std::vector<std::byte> bytes = srgb_profile();
  REQUIRE(bytes.size() > 128);
  CHECK(bytes == srgb_profile());
  for (std::size_t i = 24; i < 36; ++i) {
    CHECK(bytes[i] == std::byte{0});
  }
  // Little CMS reads it back as an RGB display profile.
  cmsHPROFILE profile =
      cmsOpenProfileFromMem(bytes.data(), static_cast<cmsUInt32Number>(bytes.size()));
  REQUIRE(profile != nullptr);
  CHECK(cmsGetColorSpace(profile) == cmsSigRgbData);
  CHECK(cmsIsMatrixShaper(profile) != 0);
  cmsCloseProfile(profile);
  Image image(1, 1, Channels::rgb, SampleType::u16);
  image.icc_profile = bytes;
  const auto curve = TransferCurve::of(image);
  REQUIRE(curve.has_value());
  // IEC 61966-2-1 decodes 0.5 to 0.214041 [computed from the formula].
  CHECK(curve->to_linear(0.5F, 0) == Approx(0.214041).margin(2e-5));
}
