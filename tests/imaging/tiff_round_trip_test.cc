#include <catch2/catch.hpp>
#include <opencv2/imgcodecs.hpp>
#include <tiffio.h>

#include "imaging/read_image.h"
#include "imaging/write_image.h"
#include "tests/imaging/pictures.h"
#include "tests/support/scratch_dir.h"

namespace seamwright {
namespace {

using test::Random;
using test::ScratchDir;

constexpr TiffCompression kCompressions[] = {TiffCompression::none, TiffCompression::lzw,
                                             TiffCompression::deflate};

// OpenCV's rows are blue, green, red; alpha stays last.
Image from_opencv(const cv::Mat& mat, SampleType type) {
  const Channels channels = mat.channels() == 1   ? Channels::grey
                            : mat.channels() == 3 ? Channels::rgb
                                                  : Channels::rgba;
  Image image(mat.cols, mat.rows, channels, type);
  const std::size_t sample = bytes_per_sample(type);
  const auto count = static_cast<std::size_t>(mat.channels());
  for (int y = 0; y < mat.rows; ++y) {
    const auto* in = reinterpret_cast<const std::byte*>(mat.ptr(y));
    std::byte* out = image.bytes().data() + static_cast<std::size_t>(y) * image.row_bytes();
    for (std::size_t x = 0; x < static_cast<std::size_t>(mat.cols); ++x) {
      for (std::size_t c = 0; c < count; ++c) {
        const std::size_t source = count >= 3 && c < 3 ? 2 - c : c;
        std::memcpy(out + (x * count + c) * sample, in + (x * count + source) * sample, sample);
      }
    }
  }
  return image;
}

TEST_CASE("TIFF gives back every kind of picture it was given", "[imaging][tiff]") {
  CAPTURE(test::seed());
  Random random(1);
  const ScratchDir dir;
  int cases = 0;
  for (const SampleType type : test::kAllTypes) {
    for (const Channels channels : test::kAllChannels) {
      for (const TiffCompression compression : kCompressions) {
        for (const BigTiff big : {BigTiff::when_needed, BigTiff::always}) {
          CAPTURE(static_cast<int>(type), static_cast<int>(channels), static_cast<int>(compression),
                  static_cast<int>(big));
          // Wide enough for several strips of 256 KiB in the larger kinds.
          const Image image = test::random_image(random, 301, 257, channels, type);
          const auto path = dir / "picture.tif";
          REQUIRE(write_image(path, image, {.tiff_compression = compression, .bigtiff = big}));
          const auto back = read_image(path);
          REQUIRE(back);
          REQUIRE(test::same_picture(*back, image));
          CHECK(back->transfer == image.transfer);
          CHECK(back->icc_profile.empty());

          const auto header = read_image_header(path);
          REQUIRE(header);
          CHECK(header->format == (big == BigTiff::always ? "BigTIFF" : "TIFF"));
          CHECK(header->width == 301);
          CHECK(header->height == 257);
          CHECK(header->channels == channels);
          CHECK(header->type == type);
          CHECK_FALSE(header->tiled);
          ++cases;
        }
      }
    }
  }
  CHECK(cases == 3 * 4 * 3 * 2);
  CHECK(dir.entry_count() == 1);
}

// Outside check: OpenCV's own TIFF reader (its build of libtiff, its own pixel code).
TEST_CASE("OpenCV reads the same pixels from our TIFF", "[imaging][tiff]") {
  CAPTURE(test::seed());
  Random random(2);
  const ScratchDir dir;
  int cases = 0;
  for (const SampleType type : test::kAllTypes) {
    for (const Channels channels : {Channels::grey, Channels::rgb, Channels::rgba}) {
      // OpenCV takes float TIFF only in one or three channels.
      if (type == SampleType::f32 && channels == Channels::rgba) continue;
      for (const TiffCompression compression : kCompressions) {
        CAPTURE(static_cast<int>(type), static_cast<int>(channels), static_cast<int>(compression));
        Image image = test::random_image(random, 65, 33, channels, type);
        // OpenCV multiplies 8-bit colour by alpha; opaque pixels are the same either way.
        if (type == SampleType::u8 && channels == Channels::rgba) {
          for (std::size_t i = 3; i < image.bytes().size(); i += 4)
            image.bytes()[i] = std::byte{255};
        }
        const auto path = dir / "picture.tif";
        REQUIRE(write_image(path, image, {.tiff_compression = compression}));
        const cv::Mat mat = cv::imread(path.string(), cv::IMREAD_UNCHANGED);
        REQUIRE_FALSE(mat.empty());
        CHECK(test::same_picture(from_opencv(mat, type), image));
        ++cases;
      }
    }
  }
  CHECK(cases == 24);
}

TEST_CASE("we read the same pixels from OpenCV's TIFF", "[imaging][tiff]") {
  CAPTURE(test::seed());
  Random random(3);
  const ScratchDir dir;
  for (const int depth : {CV_8U, CV_16U, CV_32F}) {
    for (const int channels : {1, 3}) {
      CAPTURE(depth, channels);
      const SampleType type = depth == CV_8U    ? SampleType::u8
                              : depth == CV_16U ? SampleType::u16
                                                : SampleType::f32;
      cv::Mat mat(47, 31, CV_MAKETYPE(depth, channels));
      for (int y = 0; y < mat.rows; ++y) {
        for (int x = 0; x < mat.cols * channels; ++x) {
          const auto value = static_cast<std::uint16_t>(random.bits());
          if (depth == CV_8U) mat.ptr<std::uint8_t>(y)[x] = static_cast<std::uint8_t>(value);
          if (depth == CV_16U) mat.ptr<std::uint16_t>(y)[x] = value;
          if (depth == CV_32F) mat.ptr<float>(y)[x] = static_cast<float>(value) / 1000.0F;
        }
      }
      const auto path = dir / "picture.tiff";
      // Its default for float is a logarithmic coding.
      REQUIRE(cv::imwrite(path.string(), mat, {cv::IMWRITE_TIFF_COMPRESSION, COMPRESSION_LZW}));
      const auto image = read_image(path);
      REQUIRE(image);
      CHECK(test::same_picture(*image, from_opencv(mat, type)));
    }
  }
}

TEST_CASE("a smooth 16-bit ramp keeps all its steps", "[imaging][tiff]") {
  const ScratchDir dir;
  Image ramp(256, 256, Channels::grey, SampleType::u16);
  for (int y = 0; y < 256; ++y) {
    const auto row = ramp.row<std::uint16_t>(y);
    for (int x = 0; x < 256; ++x) {
      row[static_cast<std::size_t>(x)] = static_cast<std::uint16_t>(256 * y + x);
    }
  }
  for (const char* name : {"ramp.tif", "ramp.png"}) {
    CAPTURE(name);
    REQUIRE(write_image(dir / name, ramp));
    const auto back = read_image(dir / name);
    REQUIRE(back);
    CHECK(test::same_picture(*back, ramp));
  }
}

}  // namespace
}  // namespace seamwright
