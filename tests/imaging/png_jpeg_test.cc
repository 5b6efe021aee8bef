#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <opencv2/imgcodecs.hpp>

#include "base/file.h"
#include "imaging/convert.h"
#include "imaging/exif_reader.h"
#include "imaging/read_image.h"
#include "imaging/write_image.h"
#include "tests/imaging/pictures.h"
#include "tests/imaging/raw_tiff.h"
#include "tests/support/scratch_dir.h"

namespace seamwright {
namespace {

using test::Random;
using test::ScratchDir;

TEST_CASE("PNG gives back every kind of picture it was given", "[imaging][png]") {
  CAPTURE(test::seed());
  Random random(51);
  const ScratchDir dir;
  for (const SampleType type : {SampleType::u8, SampleType::u16}) {
    for (const Channels channels : test::kAllChannels) {
      CAPTURE(static_cast<int>(type), static_cast<int>(channels));
      const Image image = test::random_image(random, 41, 23, channels, type);
      REQUIRE(write_image(dir / "picture.PNG", image));
      const auto back = read_image(dir / "picture.PNG");
      REQUIRE(back);
      CHECK(test::same_picture(*back, image));
      const auto header = read_image_header(dir / "picture.PNG");
      REQUIRE(header);
      CHECK(header->format == "PNG");
      CHECK(header->channels == channels);
      CHECK(header->bits_per_sample == static_cast<int>(8 * bytes_per_sample(type)));
    }
  }
}

// Outside check: OpenCV's PNG reader.
TEST_CASE("OpenCV reads the same pixels from our PNG", "[imaging][png]") {
  CAPTURE(test::seed());
  Random random(52);
  const ScratchDir dir;
  const Image image = test::random_image(random, 41, 23, Channels::rgb, SampleType::u16);
  REQUIRE(write_image(dir / "p.png", image));
  const cv::Mat mat = cv::imread((dir / "p.png").string(), cv::IMREAD_UNCHANGED);
  REQUIRE(mat.type() == CV_16UC3);
  int different = 0;
  for (int y = 0; y < 23; ++y) {
    for (int x = 0; x < 41; ++x) {
      for (int c = 0; c < 3; ++c) {
        const auto ours = image.row<std::uint16_t>(y)[static_cast<std::size_t>(3 * x + c)];
        different += mat.at<cv::Vec3w>(y, x)[2 - c] != ours ? 1 : 0;
      }
    }
  }
  CHECK(different == 0);
}

// Outside check: OpenCV's JPEG reader, in memory.
TEST_CASE("a JPEG in memory is the one in a file", "[imaging][jpeg]") {
  const ScratchDir dir;
  for (const Channels channels : {Channels::grey, Channels::rgb}) {
    CAPTURE(static_cast<int>(channels));
    const Image image = to_type(test::smooth_image(120, 90, channels), SampleType::u8);
    const std::string bytes = jpeg_bytes(image, 85);
    REQUIRE(write_image(dir / "p.jpg", image, {.jpeg_quality = 85}));
    CHECK(read_file(dir / "p.jpg") == bytes);
    const std::vector<unsigned char> buffer(bytes.begin(), bytes.end());
    const cv::Mat mat = cv::imdecode(buffer, cv::IMREAD_UNCHANGED);
    CHECK(mat.cols == 120);
    CHECK(mat.rows == 90);
    CHECK(mat.channels() == image.channel_count());
  }
}

TEST_CASE("JPEG keeps a smooth picture", "[imaging][jpeg]") {
  const ScratchDir dir;
  for (const Channels channels : {Channels::grey, Channels::rgb}) {
    for (const int quality : {75, 98}) {
      CAPTURE(static_cast<int>(channels), quality);
      const Image image = test::smooth_image(120, 90, channels);
      REQUIRE(write_image(dir / "p.jpg", image, {.jpeg_quality = quality}));
      const auto back = read_image(dir / "p.jpg");
      REQUIRE(back);
      REQUIRE(back->channels() == channels);
      CHECK(test::worst_difference_u8(*back, image) <= (quality > 90 ? 3 : 8));
      // Outside check: OpenCV's reader sees a picture of that size.
      const cv::Mat mat = cv::imread((dir / "p.jpg").string(), cv::IMREAD_UNCHANGED);
      CHECK(mat.cols == 120);
      CHECK(mat.rows == 90);
      CHECK(mat.channels() == image.channel_count());
    }
  }
}

TEST_CASE("JPEG of 16 bits is JPEG of the 8 bits rounded once", "[imaging][jpeg]") {
  CAPTURE(test::seed());
  Random random(53);
  const ScratchDir dir;
  const Image words = test::random_image(random, 64, 48, Channels::rgb, SampleType::u16);
  REQUIRE(write_image(dir / "16.jpg", words));
  REQUIRE(write_image(dir / "8.jpg", to_type(words, SampleType::u8)));
  CHECK(test::get_file(dir / "16.jpg") == test::get_file(dir / "8.jpg"));
}

TEST_CASE("quality changes the size", "[imaging][jpeg]") {
  CAPTURE(test::seed());
  Random random(54);
  const ScratchDir dir;
  const Image image = test::random_image(random, 64, 64, Channels::rgb, SampleType::u8);
  REQUIRE(write_image(dir / "low.jpg", image, {.jpeg_quality = 30}));
  REQUIRE(write_image(dir / "high.jpeg", image, {.jpeg_quality = 95}));
  CHECK(test::get_file(dir / "high.jpeg").size() > 2 * test::get_file(dir / "low.jpg").size());
  for (const int quality : {0, 101, -5}) {
    const auto refused = write_image(dir / "bad.jpg", image, {.jpeg_quality = quality});
    REQUIRE_FALSE(refused);
    CHECK(refused.error().field == "JPEG quality");
  }
}

TEST_CASE("what a format cannot hold is refused", "[imaging]") {
  const ScratchDir dir;
  const auto refusal = [&](const char* name, Channels channels, SampleType type) {
    const auto result = write_image(dir / name, Image(4, 4, channels, type));
    REQUIRE_FALSE(result);
    CHECK_FALSE(result.error().remedy.empty());
    CHECK(dir.entry_count() == 0);
    return result.error().what;
  };
  CHECK(test::contains(refusal("a.jpg", Channels::rgba, SampleType::u8), "alpha"));
  CHECK(test::contains(refusal("a.png", Channels::rgb, SampleType::f32), "float"));
  CHECK(test::contains(refusal("a.gif", Channels::rgb, SampleType::u8), ".gif"));
  CHECK(test::contains(refusal("a", Channels::rgb, SampleType::u8), "no suffix"));
  CHECK_FALSE(write_image(dir / "empty.tif", Image()));
}

TEST_CASE("files are told apart by content, not by name", "[imaging]") {
  const ScratchDir dir;
  const Image image = test::smooth_image(30, 20, Channels::rgb);
  REQUIRE(write_image(dir / "a.png", image));
  std::filesystem::rename(dir / "a.png", dir / "a.tif");
  const auto back = read_image(dir / "a.tif");
  REQUIRE(back);
  CHECK(test::same_picture(*back, image));
}

// EXIF orientation in JPEG and PNG. The block is built by hand: TIFF 6.0 header, one directory
// with tag 274.
TEST_CASE("JPEG orientation is undone", "[imaging][jpeg]") {
  const ScratchDir dir;
  const Image image = test::smooth_image(48, 32, Channels::rgb);
  REQUIRE(write_image(dir / "plain.jpg", image, {.jpeg_quality = 98}));
  const std::string plain = test::get_file(dir / "plain.jpg");
  for (char orientation = 1; orientation <= 8; ++orientation) {
    CAPTURE(static_cast<int>(orientation));
    const char block[] = {'E',  'x',  'i', 'f', 0, 0, 'I', 'I', 42,          0, 8, 0, 0, 0, 1, 0,
                          0x12, 0x01, 3,   0,   1, 0, 0,   0,   orientation, 0, 0, 0, 0, 0, 0, 0};
    std::string marker = "\xFF\xE1";
    marker += '\0';
    marker += static_cast<char>(sizeof(block) + 2);
    marker.append(block, sizeof(block));
    test::put_file(dir / "turned.jpg", plain.substr(0, 2) + marker + plain.substr(2));
    const auto turned = read_image(dir / "turned.jpg");
    REQUIRE(turned);
    CHECK(turned->width() == (orientation >= 5 ? 32 : 48));
    const auto header = read_image_header(dir / "turned.jpg");
    REQUIRE(header);
    CHECK(header->orientation == orientation);
    CHECK(header->width == turned->width());
    // Outside check: OpenCV turns colour JPEGs by EXIF, too.
    const cv::Mat mat = cv::imread((dir / "turned.jpg").string(), cv::IMREAD_COLOR);
    REQUIRE(mat.cols == turned->width());
    int worst = 0;
    for (int y = 0; y < mat.rows; ++y) {
      for (int x = 0; x < mat.cols; ++x) {
        const int ours = turned->row<std::uint8_t>(y)[static_cast<std::size_t>(3 * x)];
        worst = std::max(worst, std::abs(ours - mat.at<cv::Vec3b>(y, x)[2]));
      }
    }
    CHECK(worst <= 2);
  }
}

}  // namespace
}  // namespace seamwright
