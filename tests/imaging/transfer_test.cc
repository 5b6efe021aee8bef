#include "imaging/transfer.h"

#include <cmath>

#include <catch2/catch.hpp>

#include "tests/imaging/pictures.h"
#include "tests/imaging/profiles.h"

namespace seamwright {
namespace {

// Codes that do not come back after decoding, encoding and one rounding.
int lost_codes(const TransferCurve& curve, int channel) {
  int lost = 0;
  for (int code = 0; code < 65536; ++code) {
    const float light = curve.to_linear(static_cast<float>(code) / 65535.0F, channel);
    const float back = curve.from_linear(light, channel) * 65535.0F;
    if (std::lround(back) != code) ++lost;
  }
  return lost;
}

// The same through the row calls with 16-bit samples.
int lost_codes_in_rows(const TransferCurve& curve) {
  std::vector<std::uint16_t> codes(3 * 65536);
  for (std::size_t i = 0; i < codes.size(); ++i) codes[i] = static_cast<std::uint16_t>(i / 3);
  std::vector<float> light(codes.size());
  std::vector<std::uint16_t> back(codes.size());
  curve.decode_row<std::uint16_t>(codes, Channels::rgb, light);
  curve.encode_row<std::uint16_t>(light, Channels::rgb, back);
  int lost = 0;
  for (std::size_t i = 0; i < codes.size(); ++i) lost += codes[i] != back[i] ? 1 : 0;
  return lost;
}

Image with_profile(Channels channels, std::vector<std::byte> profile) {
  Image image(1, 1, channels, SampleType::u16);
  image.icc_profile = std::move(profile);
  return image;
}

TransferCurve curve_of(const Image& image) {
  auto curve = TransferCurve::of(image);
  REQUIRE(curve);
  return *curve;
}

// IEC 61966-2-1: values computed from the standard's formula by hand.
TEST_CASE("sRGB formula", "[imaging][transfer]") {
  CHECK(linear_to_srgb(0.18) == Approx(0.4613561).margin(5e-8));
  CHECK(linear_to_srgb(0.5) == Approx(0.7353570).margin(5e-8));
  CHECK(srgb_to_linear(128.0 / 255.0) == Approx(0.2158605).margin(5e-8));
  CHECK(srgb_to_linear(0.0) == 0.0);
  CHECK(srgb_to_linear(1.0) == Approx(1.0).margin(1e-15));
  CHECK(srgb_to_linear(0.04045) == Approx(0.04045 / 12.92).margin(1e-15));
  CHECK(linear_to_srgb(0.0031308) == Approx(12.92 * 0.0031308).margin(1e-15));
  CHECK(srgb_to_linear(-0.5) == -srgb_to_linear(0.5));
}

TEST_CASE("the sRGB curve follows the formula everywhere", "[imaging][transfer]") {
  const TransferCurve curve = TransferCurve::srgb();
  double worst_decode = 0;
  double worst_encode = 0;
  int cases = 0;
  for (double code = -1.0; code < 3.0; code += 1.0 / 9973, ++cases) {
    const double light = srgb_to_linear(code);
    const double scale = std::max(1.0, std::abs(light));
    worst_decode = std::max(worst_decode,
                            std::abs(curve.to_linear(static_cast<float>(code), 0) - light) / scale);
    const double back = curve.from_linear(static_cast<float>(light), 0);
    worst_encode = std::max(worst_encode, std::abs(back - code) / std::max(1.0, std::abs(code)));
  }
  CHECK(cases > 39000);
  // 16-bit steps are 1.5e-5: within a fiftieth of one.
  CHECK(worst_decode < 3e-7);
  CHECK(worst_encode < 6e-7);
}

// Outside check: the sRGB profile built into lcms2, evaluated by lcms2.
TEST_CASE("sRGB agrees with lcms2's own", "[imaging][transfer]") {
  const TransferCurve curve = TransferCurve::srgb();
  const std::unique_ptr<void, void (*)(void*)> profile(cmsCreate_sRGBProfile(),
                                                       [](void* p) { cmsCloseProfile(p); });
  const auto* red = static_cast<const cmsToneCurve*>(cmsReadTag(profile.get(), cmsSigRedTRCTag));
  REQUIRE(red != nullptr);
  double worst = 0;
  for (int code = 0; code < 65536; ++code) {
    const float at = static_cast<float>(code) / 65535.0F;
    worst = std::max(worst, static_cast<double>(
                                std::abs(cmsEvalToneCurveFloat(red, at) - curve.to_linear(at, 0))));
  }
  CHECK(worst < 1e-6);
}

TEST_CASE("every 16-bit code comes back", "[imaging][transfer]") {
  const auto srgb_like = [](double code) { return srgb_to_linear(code); };
  const auto gamma22 = [](double code) { return std::pow(code, 2.2); };
  const struct {
    const char* name;
    TransferCurve curve;
  } curves[] = {
      {"sRGB", TransferCurve::srgb()},
      {"linear", TransferCurve::linear()},
      {"gamma 1.0", curve_of(with_profile(Channels::rgb, test::gamma_profile(1.0)))},
      {"gamma 1.8", curve_of(with_profile(Channels::rgb, test::gamma_profile(1.8)))},
      {"gamma 2.2", curve_of(with_profile(Channels::rgb, test::gamma_profile(2.19921875)))},
      {"gamma 3.0", curve_of(with_profile(Channels::rgb, test::gamma_profile(3.0)))},
      {"table of 256", curve_of(with_profile(Channels::rgb, test::table_profile(256, gamma22)))},
      {"table of 1024",
       curve_of(with_profile(Channels::rgb, test::table_profile(1024, srgb_like)))},
      {"table of 4096",
       curve_of(with_profile(Channels::rgb, test::table_profile(4096, srgb_like)))},
      {"grey gamma", curve_of(with_profile(Channels::grey, test::grey_gamma_profile(2.2)))},
  };
  for (const auto& [name, curve] : curves) {
    CAPTURE(name);
    for (int channel = 0; channel < 3; ++channel) CHECK(lost_codes(curve, channel) == 0);
    CHECK(lost_codes_in_rows(curve) == 0);
  }
}

TEST_CASE("an image without a profile follows its transfer", "[imaging][transfer]") {
  Image image(1, 1, Channels::rgb, SampleType::u16);
  CHECK(curve_of(image).to_linear(0.5F, 1) == Approx(srgb_to_linear(0.5)).epsilon(1e-6));
  image.transfer = Transfer::linear;
  CHECK(curve_of(image).is_linear());
  CHECK(curve_of(image).to_linear(0.5F, 1) == 0.5F);
}

TEST_CASE("an image with a profile follows the profile", "[imaging][transfer]") {
  const TransferCurve curve = curve_of(with_profile(Channels::rgba, test::gamma_profile(1.8)));
  CHECK(curve.to_linear(0.5F, 2) == Approx(std::pow(0.5, 1.8)).epsilon(1e-5));
  CHECK(curve.to_linear(2.0F, 2) == Approx(std::pow(2.0, 1.8)).epsilon(1e-3));
}

TEST_CASE("profiles without tone curves are refused", "[imaging][transfer]") {
  const auto refused = [](const Image& image) {
    const auto curve = TransferCurve::of(image);
    REQUIRE_FALSE(curve);
    CHECK(curve.error().field == "ICC profile");
    CHECK_FALSE(curve.error().remedy.empty());
  };
  refused(with_profile(Channels::rgb, test::bytes_of("not a profile at all")));
  refused(with_profile(Channels::rgb, test::grey_gamma_profile(2.2)));
  refused(with_profile(Channels::grey, test::gamma_profile(2.2)));
  refused(with_profile(Channels::rgb, test::saved_profile(cmsCreateLab4Profile(nullptr))));
  const auto falling = [](double code) { return 1.0 - code; };
  refused(with_profile(Channels::rgb, test::table_profile(64, falling)));
  auto cut = test::gamma_profile(2.2);
  cut.resize(cut.size() / 2);
  refused(with_profile(Channels::rgb, std::move(cut)));
}

TEST_CASE("rows are decoded and encoded with straight alpha", "[imaging][transfer]") {
  const TransferCurve curve = TransferCurve::srgb();
  const std::vector<std::uint8_t> codes = {0, 128, 255, 128, 255, 64, 32, 0};
  std::vector<float> light(codes.size());
  curve.decode_row<std::uint8_t>(codes, Channels::rgba, light);
  CHECK(light[0] == 0.0F);
  CHECK(light[1] == Approx(0.2158605).margin(1e-7));
  CHECK(light[2] == 1.0F);
  CHECK(light[3] == Approx(128.0 / 255.0));
  CHECK(light[7] == 0.0F);
  std::vector<std::uint8_t> back(codes.size());
  curve.encode_row<std::uint8_t>(light, Channels::rgba, back);
  CHECK(back == codes);

  std::vector<std::uint16_t> words(4);
  const std::vector<float> beyond = {-0.5F, 7.0F, std::nanf(""), 2.0F};
  curve.encode_row<std::uint16_t>(beyond, Channels::rgba, words);
  CHECK(words == std::vector<std::uint16_t>{0, 65535, 0, 65535});

  const std::vector<float> floats = {0.5F, 3.0F};
  std::vector<float> float_light(2);
  curve.decode_row<float>(floats, Channels::grey, float_light);
  CHECK(float_light[0] == Approx(srgb_to_linear(0.5)));
  CHECK(float_light[1] == Approx(srgb_to_linear(3.0)));
  std::vector<float> float_back(2);
  curve.encode_row<float>(float_light, Channels::grey, float_back);
  CHECK(float_back[1] == Approx(3.0));
}

TEST_CASE("the table of codes is what decoding gives", "[imaging][transfer]") {
  for (const TransferCurve& curve : {TransferCurve::srgb(), TransferCurve::linear()}) {
    const auto light = curve.light_of_codes(1);
    for (std::size_t code = 0; code < 65536; code += 257) {
      CHECK(light[code] == curve.to_linear(static_cast<float>(code) / 65535.0F, 1));
    }
  }
}

}  // namespace
}  // namespace seamwright
