#include <numeric>

#include <catch2/catch.hpp>
#include <tiffio.h>

#include "base/file.h"
#include "imaging/tiff_writer.h"
#include "imaging/write_image.h"
#include "tests/imaging/pictures.h"
#include "tests/support/scratch_dir.h"

namespace seamwright {
namespace {

using test::Random;
using test::ScratchDir;

std::uint64_t number_at(const std::string& bytes, std::size_t at, std::size_t size) {
  std::uint64_t number = 0;
  for (std::size_t i = 0; i < size; ++i) {
    number |= std::uint64_t{static_cast<unsigned char>(bytes[at + i])} << (8 * i);
  }
  return number;
}

using Tiff = std::unique_ptr<TIFF, decltype(&TIFFClose)>;
Tiff open_tiff(const std::filesystem::path& path) {
  return {TIFFOpen(path.c_str(), "r"), TIFFClose};
}

// TIFF 6.0, section 2: "II", 42, offset of the first directory; entries of 12 bytes in ascending
// order of tag.
TEST_CASE("classic TIFF starts as TIFF 6.0 says", "[imaging][tiff]") {
  const ScratchDir dir;
  REQUIRE(write_image(dir / "c.tif", Image(5, 4, Channels::rgb, SampleType::u16)));
  const std::string bytes = test::get_file(dir / "c.tif");
  CHECK(bytes.substr(0, 2) == "II");
  CHECK(number_at(bytes, 2, 2) == 42);
  const std::size_t directory = number_at(bytes, 4, 4);
  CHECK(directory % 2 == 0);
  const std::size_t entries = number_at(bytes, directory, 2);
  REQUIRE(entries >= 12);
  std::uint64_t before = 0;
  for (std::size_t i = 0; i < entries; ++i) {
    const std::uint64_t tag = number_at(bytes, directory + 2 + 12 * i, 2);
    CHECK(tag > before);
    before = tag;
  }
  CHECK(number_at(bytes, directory + 2 + 12 * entries, 4) == 0);  // one directory
}

// The BigTIFF design (libtiff's "BigTIFF Design" page): "II", 43, size of offsets 8, 0, 64-bit
// offset; entries of 20 bytes behind a 64-bit count.
TEST_CASE("BigTIFF starts as its design says", "[imaging][tiff]") {
  const ScratchDir dir;
  REQUIRE(write_image(dir / "b.tif", Image(5, 4, Channels::rgb, SampleType::u16),
                      {.bigtiff = BigTiff::always}));
  const std::string bytes = test::get_file(dir / "b.tif");
  CHECK(bytes.substr(0, 2) == "II");
  CHECK(number_at(bytes, 2, 2) == 43);
  CHECK(number_at(bytes, 4, 2) == 8);
  CHECK(number_at(bytes, 6, 2) == 0);
  const std::size_t directory = number_at(bytes, 8, 8);
  const std::size_t entries = number_at(bytes, directory, 8);
  REQUIRE(entries >= 12);
  CHECK(number_at(bytes, directory + 8, 2) == TIFFTAG_IMAGEWIDTH);
  CHECK(number_at(bytes, directory + 8 + 20 * entries, 8) == 0);
}

TEST_CASE("BigTIFF is chosen when classic TIFF is too small", "[imaging][tiff]") {
  TiffLayout layout{.width = 32768, .height = 16384};  // 16-bit RGB: 3 GiB
  CHECK_FALSE(is_bigtiff(layout));
  layout.compression = TiffCompression::lzw;  // may grow by half: 4.5 GiB
  CHECK(is_bigtiff(layout));
  layout.compression = TiffCompression::none;
  layout.channels = Channels::rgba;  // exactly 4 GiB of pixels
  CHECK(is_bigtiff(layout));
  layout.height = 16360;  // just below 4 GiB, but fields need room
  CHECK(is_bigtiff(layout));
  layout.height = 16340;
  CHECK_FALSE(is_bigtiff(layout));
  CHECK(is_bigtiff({.width = 1, .height = 1, .bigtiff = BigTiff::always}));
}

TEST_CASE("TIFF fields say what the pixels are", "[imaging][tiff]") {
  const ScratchDir dir;
  const std::vector<std::byte> profile(3145, std::byte{0x5A});  // odd size, any bytes
  Image image(640, 480, Channels::rgba, SampleType::u16);
  image.icc_profile = profile;
  REQUIRE(write_image(dir / "f.tif", image,
                      {.tiff_compression = TiffCompression::deflate, .xmp = "<packet/>"}));
  const Tiff tiff = open_tiff(dir / "f.tif");
  REQUIRE(tiff);
  TIFF* t = tiff.get();
  std::uint16_t value = 0;
  const auto u16 = [&](std::uint32_t tag) {
    value = 0;
    TIFFGetField(t, tag, &value);
    return value;
  };
  CHECK(u16(TIFFTAG_BITSPERSAMPLE) == 16);
  CHECK(u16(TIFFTAG_SAMPLESPERPIXEL) == 4);
  CHECK(u16(TIFFTAG_PHOTOMETRIC) == PHOTOMETRIC_RGB);
  CHECK(u16(TIFFTAG_ORIENTATION) == ORIENTATION_TOPLEFT);
  CHECK(u16(TIFFTAG_PREDICTOR) == PREDICTOR_HORIZONTAL);
  CHECK(u16(TIFFTAG_COMPRESSION) == COMPRESSION_ADOBE_DEFLATE);
  std::uint16_t count = 0;
  std::uint16_t* kinds = nullptr;
  REQUIRE(TIFFGetField(t, TIFFTAG_EXTRASAMPLES, &count, &kinds) == 1);
  CHECK(count == 1);
  CHECK(kinds[0] == EXTRASAMPLE_UNASSALPHA);
  const char* software = nullptr;
  REQUIRE(TIFFGetField(t, TIFFTAG_SOFTWARE, &software) == 1);
  CHECK(std::string(software) == "Seamwright");
  std::uint32_t size = 0;
  const char* data = nullptr;
  REQUIRE(TIFFGetField(t, TIFFTAG_ICCPROFILE, &size, &data) == 1);
  CHECK(test::bytes_of({data, size}) == profile);
  REQUIRE(TIFFGetField(t, TIFFTAG_XMLPACKET, &size, &data) == 1);
  CHECK(std::string(data, size) == "<packet/>");
  std::uint32_t rows = 0;
  REQUIRE(TIFFGetField(t, TIFFTAG_ROWSPERSTRIP, &rows) == 1);
  CHECK(rows == 262144 / (640 * 8));
}

TEST_CASE("rows may come in any portions and give the same bytes", "[imaging][tiff]") {
  CAPTURE(test::seed());
  Random random(21);
  const ScratchDir dir;
  const Image image = test::random_image(random, 700, 500, Channels::rgb, SampleType::u16);
  const TiffLayout layout{.width = 700, .height = 500, .compression = TiffCompression::lzw};
  REQUIRE(write_image(dir / "whole.tif", image, {.tiff_compression = TiffCompression::lzw}));
  const std::string whole = test::get_file(dir / "whole.tif");
  for (int attempt = 0; attempt < 5; ++attempt) {
    auto writer = TiffStripWriter::create(dir / "parts.tif", layout);
    REQUIRE(writer);
    for (int row = 0; row < 500;) {
      const int rows = std::min(random.integer(1, 150), 500 - row);
      const auto start = static_cast<std::size_t>(row) * image.row_bytes();
      const auto size = static_cast<std::size_t>(rows) * image.row_bytes();
      REQUIRE(writer->write_rows(row, image.bytes().subspan(start, size)));
      row += rows;
    }
    REQUIRE(writer->finish());
    CHECK(test::get_file(dir / "parts.tif") == whole);
  }
}

TEST_CASE("a writer that is given up leaves nothing behind", "[imaging][tiff]") {
  const ScratchDir dir;
  REQUIRE(write_file(dir / "old.tif", "old"));
  {
    auto writer = TiffStripWriter::create(dir / "old.tif", {.width = 10, .height = 10});
    REQUIRE(writer);
    const std::vector<std::byte> row(60);
    REQUIRE(writer->write_rows(0, row));
    CHECK(dir.entry_count() == 2);
  }
  CHECK(dir.entry_count() == 1);
  CHECK(test::get_file(dir / "old.tif") == "old");
}

TEST_CASE("the same picture gives the same bytes", "[imaging]") {
  CAPTURE(test::seed());
  Random random(22);
  const ScratchDir dir;
  Image image = test::random_image(random, 64, 64, Channels::rgb, SampleType::u16);
  image.transfer = Transfer::linear;  // makes a profile of our own
  const FrameInfo info{.taken_at = "2024:05:06 07:08:09", .exposure_s = 0.01};
  for (const char* suffix : {".tif", ".png", ".jpg"}) {
    const auto a = dir / (std::string("a") + suffix);
    const auto b = dir / (std::string("b") + suffix);
    REQUIRE(write_image(a, image, {.info = info}));
    REQUIRE(write_image(b, image, {.info = info}));
    CHECK(test::get_file(a) == test::get_file(b));
  }
}

}  // namespace
}  // namespace seamwright
