#include "imaging/convert.h"

#include <cmath>
#include <limits>

#include <catch2/catch.hpp>

#include "tests/imaging/pictures.h"

namespace seamwright {
namespace {

Image all_codes_u16() {
  Image image(65536, 1, Channels::grey, SampleType::u16);
  const auto row = image.row<std::uint16_t>(0);
  for (std::size_t i = 0; i < row.size(); ++i) row[i] = static_cast<std::uint16_t>(i);
  return image;
}

TEST_CASE("16 bits to 8 and float round once, to nearest", "[imaging][convert]") {
  const Image words = all_codes_u16();
  const Image bytes = to_type(words, SampleType::u8);
  const Image floats = to_type(words, SampleType::f32);
  for (std::size_t i = 0; i < 65536; ++i) {
    REQUIRE(bytes.row<std::uint8_t>(0)[i] == std::lround(static_cast<double>(i) * 255.0 / 65535.0));
    REQUIRE(floats.row<float>(0)[i] == static_cast<float>(i) / 65535.0F);
  }
  CHECK(test::same_picture(to_type(floats, SampleType::u16), words));
}

TEST_CASE("8 bits survive 16 bits and float", "[imaging][convert]") {
  Image bytes(256, 1, Channels::grey, SampleType::u8);
  for (std::size_t i = 0; i < 256; ++i) {
    bytes.row<std::uint8_t>(0)[i] = static_cast<std::uint8_t>(i);
  }
  const Image words = to_type(bytes, SampleType::u16);
  CHECK(words.row<std::uint16_t>(0)[255] == 65535);
  CHECK(test::same_picture(to_type(words, SampleType::u8), bytes));
  CHECK(test::same_picture(to_type(to_type(bytes, SampleType::f32), SampleType::u8), bytes));
}

TEST_CASE("floats beyond 0…1 are clamped on the way to integers", "[imaging][convert]") {
  Image image(6, 1, Channels::grey, SampleType::f32);
  const float infinity = std::numeric_limits<float>::infinity();
  const float samples[] = {-1.0F,    2.0F,      std::numeric_limits<float>::quiet_NaN(),
                           infinity, -infinity, 0.5F};
  std::copy(std::begin(samples), std::end(samples), image.row<float>(0).begin());
  const Image words = to_type(image, SampleType::u16);
  const auto row = words.row<std::uint16_t>(0);
  const std::vector<int> expected = {0, 65535, 0, 65535, 0, 32768};
  CHECK(std::vector<int>(row.begin(), row.end()) == expected);
}

TEST_CASE("conversion keeps profile and transfer", "[imaging][convert]") {
  Image image(2, 2, Channels::rgb, SampleType::f32);
  image.icc_profile.assign(7, std::byte{1});
  image.transfer = Transfer::linear;
  const Image words = to_type(image, SampleType::u16);
  CHECK(words.icc_profile == image.icc_profile);
  CHECK(words.transfer == Transfer::linear);
}

// Rec. ITU-R BT.709-6, 3.2: E'Y = 0.2126 E'R + 0.7152 E'G + 0.0722 E'B.
TEST_CASE("grey is luma of BT.709", "[imaging][convert]") {
  Image image(4, 1, Channels::rgba, SampleType::u16);
  const auto row = image.row<std::uint16_t>(0);
  for (std::size_t i = 0; i < 3; ++i) row[4 * i + i] = 65535;  // pure red, green, blue
  for (std::size_t c = 12; c < 15; ++c) row[c] = 65535;        // white
  const Image grey = to_grey_f32(image);
  REQUIRE(grey.channels() == Channels::grey);
  CHECK(grey.row<float>(0)[0] == Approx(0.2126));
  CHECK(grey.row<float>(0)[1] == Approx(0.7152));
  CHECK(grey.row<float>(0)[2] == Approx(0.0722));
  CHECK(grey.row<float>(0)[3] == Approx(1.0));
  Image single(1, 1, Channels::grey, SampleType::u8);
  single.row<std::uint8_t>(0)[0] = 51;
  CHECK(to_grey_f32(single).row<float>(0)[0] == Approx(0.2));
}

}  // namespace
}  // namespace seamwright
