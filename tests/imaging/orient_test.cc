#include "imaging/orient.h"

#include <catch2/catch.hpp>

#include "tests/imaging/pictures.h"

namespace seamwright {
namespace {

using test::Random;

// Letters as pixels, rows one after the other.
Image letters(int width, const std::string& pixels) {
  Image image(width, static_cast<int>(pixels.size()) / width, Channels::grey, SampleType::u8);
  std::memcpy(image.bytes().data(), pixels.data(), pixels.size());
  return image;
}

std::string text(const Image& image) {
  return {reinterpret_cast<const char*>(image.bytes().data()), image.bytes().size()};
}

TEST_CASE("quarter turns go clockwise", "[imaging][orient]") {
  const Image image = letters(3, "ABCDEF");
  CHECK(text(rotate_quarter_turns(image, 0)) == "ABCDEF");
  CHECK(text(rotate_quarter_turns(image, 1)) == "DAEBFC");
  CHECK(rotate_quarter_turns(image, 1).width() == 2);
  CHECK(text(rotate_quarter_turns(image, 2)) == "FEDCBA");
  CHECK(text(rotate_quarter_turns(image, 3)) == "CFBEAD");
  CHECK(text(rotate_quarter_turns(image, -1)) == "CFBEAD");
  CHECK(text(rotate_quarter_turns(image, 5)) == "DAEBFC");
  CHECK(text(mirror_left_right(image)) == "CBAFED");
}

TEST_CASE("turns of every pixel size undo themselves", "[imaging][orient]") {
  CAPTURE(test::seed());
  Random random(31);
  for (const SampleType type : test::kAllTypes) {
    for (const Channels channels : test::kAllChannels) {
      Image image = test::random_image(random, 13, 7, channels, type);
      image.icc_profile.assign(5, std::byte{9});
      image.transfer = Transfer::linear;
      for (int turns = 0; turns < 4; ++turns) {
        const Image back = rotate_quarter_turns(rotate_quarter_turns(image, turns), -turns);
        CHECK(test::same_picture(back, image));
        CHECK(back.icc_profile == image.icc_profile);
        CHECK(back.transfer == image.transfer);
      }
      CHECK(test::same_picture(mirror_left_right(mirror_left_right(image)), image));
      const Image stepwise = rotate_quarter_turns(rotate_quarter_turns(image, 1), 1);
      CHECK(test::same_picture(stepwise, rotate_quarter_turns(image, 2)));
    }
  }
}

TEST_CASE("each orientation is a turn and a mirroring", "[imaging][orient]") {
  CAPTURE(test::seed());
  Random random(32);
  const Image image = test::random_image(random, 6, 4, Channels::rgb, SampleType::u16);
  const auto same = [&](int orientation, const Image& expected) {
    return test::same_picture(upright(image, orientation), expected);
  };
  CHECK(same(0, image));
  CHECK(same(9, image));
  CHECK(same(4, mirror_left_right(rotate_quarter_turns(image, 2))));
  CHECK(same(5, mirror_left_right(rotate_quarter_turns(image, 1))));
  CHECK(same(7, mirror_left_right(rotate_quarter_turns(image, 3))));
}

TEST_CASE("crop cuts the stated rectangle", "[imaging][orient]") {
  const Image image = letters(4, "ABCDEFGHIJKL");
  CHECK(text(crop(image, 1, 1, 2, 2)) == "FGJK");
  CHECK(text(crop(image, 3, 0, 1, 3)) == "DHL");
  CHECK(text(crop(image, 0, 0, 4, 3)) == "ABCDEFGHIJKL");
}

}  // namespace
}  // namespace seamwright
