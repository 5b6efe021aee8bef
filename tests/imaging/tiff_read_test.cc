#include <catch2/catch.hpp>

#include "imaging/read_image.h"
#include "tests/imaging/pictures.h"
#include "tests/imaging/raw_tiff.h"
#include "tests/support/scratch_dir.h"

namespace seamwright {
namespace {

using test::Random;
using test::RawTiff;
using test::ScratchDir;

TEST_CASE("TIFF is read in every layout", "[imaging][tiff]") {
  CAPTURE(test::seed());
  Random random(11);
  const ScratchDir dir;
  const auto path = dir / "picture.tif";
  int cases = 0;
  for (const SampleType type : test::kAllTypes) {
    for (const Channels channels : test::kAllChannels) {
      const Image image = test::random_image(random, 37, 29, channels, type);
      for (const int compression : {COMPRESSION_NONE, COMPRESSION_LZW, COMPRESSION_ADOBE_DEFLATE,
                                    COMPRESSION_DEFLATE, COMPRESSION_PACKBITS}) {
        for (const char* mode : {"wl", "wb", "wl8", "wb8"}) {
          for (const bool tiled : {false, true}) {
            for (const bool planes_apart : {false, true}) {
              CAPTURE(static_cast<int>(type), static_cast<int>(channels), compression, mode, tiled,
                      planes_apart);
              RawTiff options{.mode = mode, .compression = static_cast<std::uint16_t>(compression)};
              options.tiled = tiled;
              options.planes_apart = planes_apart;
              test::write_raw_tiff(path, image, options);
              const auto back = read_image(path);
              REQUIRE(back);
              REQUIRE(test::same_picture(*back, image));
              ++cases;
            }
          }
        }
      }
    }
  }
  CHECK(cases == 3 * 4 * 5 * 4 * 2 * 2);
}

TEST_CASE("TIFF predictors are undone", "[imaging][tiff]") {
  CAPTURE(test::seed());
  Random random(12);
  const ScratchDir dir;
  for (const SampleType type : test::kAllTypes) {
    for (const char* mode : {"wl", "wb"}) {
      CAPTURE(static_cast<int>(type), mode);
      // libtiff 4.5 writes these wrongly: it swaps bytes before its predictor sees them.
      if (type == SampleType::f32 && std::string(mode) == "wb") continue;
      const Image image = test::random_image(random, 37, 29, Channels::rgb, type);
      RawTiff options{.mode = mode, .compression = COMPRESSION_LZW};
      options.predictor = type == SampleType::f32 ? PREDICTOR_FLOATINGPOINT : PREDICTOR_HORIZONTAL;
      test::write_raw_tiff(dir / "p.tif", image, options);
      const auto back = read_image(dir / "p.tif");
      REQUIRE(back);
      CHECK(test::same_picture(*back, image));
    }
  }
}

// TIFF 6.0, tag 274: the corner that the stored first row and first column belong to, e.g. 6 is
// "0th row is the right-hand side, 0th column is the top". Stored picture, letters as pixel values:
//   A B C
//   D E F
TEST_CASE("TIFF orientation is undone", "[imaging][tiff]") {
  const ScratchDir dir;
  Image stored(3, 2, Channels::grey, SampleType::u8);
  std::memcpy(stored.bytes().data(), "ABCDEF", 6);
  const struct {
    std::uint16_t orientation;
    int width;
    std::string pixels;
  } expected[] = {
      {1, 3, "ABCDEF"},  // top, left
      {2, 3, "CBAFED"},  // top, right
      {3, 3, "FEDCBA"},  // bottom, right
      {4, 3, "DEFABC"},  // bottom, left
      {5, 2, "ADBECF"},  // left, top
      {6, 2, "DAEBFC"},  // right, top
      {7, 2, "FCEBDA"},  // right, bottom
      {8, 2, "CFBEAD"},  // left, bottom
  };
  for (const auto& [orientation, width, pixels] : expected) {
    CAPTURE(orientation);
    RawTiff options;
    options.orientation = orientation;
    test::write_raw_tiff(dir / "o.tif", stored, options);
    const auto image = read_image(dir / "o.tif");
    REQUIRE(image);
    CHECK(image->width() == width);
    CHECK(image->height() == 6 / width);
    CHECK(std::string(reinterpret_cast<const char*>(image->bytes().data()), 6) == pixels);
    const auto header = read_image_header(dir / "o.tif");
    REQUIRE(header);
    CHECK(header->width == width);
    CHECK(header->orientation == orientation);
  }
}

TEST_CASE("grey with white at zero is turned over", "[imaging][tiff]") {
  CAPTURE(test::seed());
  Random random(13);
  const ScratchDir dir;
  RawTiff options;
  options.photometric = PHOTOMETRIC_MINISWHITE;
  const Image bytes = test::random_image(random, 9, 7, Channels::grey_alpha, SampleType::u8);
  test::write_raw_tiff(dir / "w.tif", bytes, options);
  const auto back = read_image(dir / "w.tif");
  REQUIRE(back);
  for (std::size_t i = 0; i < bytes.bytes().size(); ++i) {
    const int stored = static_cast<int>(bytes.bytes()[i]);
    CHECK(static_cast<int>(back->bytes()[i]) == (i % 2 == 0 ? 255 - stored : stored));
  }
  const Image words = test::random_image(random, 9, 7, Channels::grey, SampleType::u16);
  test::write_raw_tiff(dir / "w.tif", words, options);
  const auto back16 = read_image(dir / "w.tif");
  REQUIRE(back16);
  CHECK(back16->row<std::uint16_t>(6)[8] == 65535 - words.row<std::uint16_t>(6)[8]);
}

TEST_CASE("premultiplied alpha is undone", "[imaging][tiff]") {
  const ScratchDir dir;
  Image stored(3, 1, Channels::rgba, SampleType::u16);
  const std::uint16_t samples[] = {100, 200,   300, 65535,  // opaque: as it is
                                   100, 32768, 0,   32768,  // half: doubled, full at alpha
                                   9,   9,     9,   0};     // nothing there: black
  std::memcpy(stored.bytes().data(), samples, sizeof(samples));
  RawTiff options;
  options.extra_kind = EXTRASAMPLE_ASSOCALPHA;
  test::write_raw_tiff(dir / "a.tif", stored, options);
  const auto image = read_image(dir / "a.tif");
  REQUIRE(image);
  const auto row = image->row<std::uint16_t>(0);
  const std::vector<int> expected = {100, 200, 300, 65535, 200, 65535, 0, 32768, 0, 0, 0, 0};
  CHECK(std::vector<int>(row.begin(), row.end()) == expected);
}

TEST_CASE("alpha that is not declared is still alpha", "[imaging][tiff]") {
  CAPTURE(test::seed());
  Random random(14);
  const ScratchDir dir;
  const Image image = test::random_image(random, 5, 4, Channels::rgba, SampleType::u16);
  for (const int kind : {-1, EXTRASAMPLE_UNSPECIFIED}) {
    RawTiff options;
    options.extra_kind = kind;
    test::write_raw_tiff(dir / "a.tif", image, options);
    const auto back = read_image(dir / "a.tif");
    REQUIRE(back);
    CHECK(test::same_picture(*back, image));
  }
}

TEST_CASE("kinds of TIFF that are not read are refused with a remedy", "[imaging][tiff]") {
  const ScratchDir dir;
  const auto path = dir / "refused.tif";
  const auto refusal = [&](std::uint32_t tag, int value, int samples, int photometric) {
    {
      const std::unique_ptr<TIFF, decltype(&TIFFClose)> tiff(TIFFOpen(path.c_str(), "w"),
                                                             TIFFClose);
      TIFFSetField(tiff.get(), TIFFTAG_IMAGEWIDTH, 8);
      TIFFSetField(tiff.get(), TIFFTAG_IMAGELENGTH, 1);
      TIFFSetField(tiff.get(), TIFFTAG_BITSPERSAMPLE, 8);
      TIFFSetField(tiff.get(), TIFFTAG_SAMPLESPERPIXEL, samples);
      TIFFSetField(tiff.get(), TIFFTAG_PHOTOMETRIC, photometric);
      TIFFSetField(tiff.get(), TIFFTAG_ROWSPERSTRIP, 1);
      if (photometric == PHOTOMETRIC_PALETTE) {
        std::vector<std::uint16_t> map(256);
        TIFFSetField(tiff.get(), TIFFTAG_COLORMAP, map.data(), map.data(), map.data());
      }
      TIFFSetField(tiff.get(), tag, value);
      std::vector<std::byte> row(256);
      TIFFWriteEncodedStrip(tiff.get(), 0, row.data(), TIFFStripSize(tiff.get()));
    }
    const auto image = read_image(path);
    REQUIRE_FALSE(image);
    CHECK(image.error().kind == ErrorKind::user_input);
    CHECK_FALSE(image.error().remedy.empty());
    CHECK(test::contains(image.error().where, "refused.tif"));
    CHECK_FALSE(read_image_header(path));
    return image.error().what;
  };
  constexpr auto kNothing = TIFFTAG_MINSAMPLEVALUE;
  CHECK(test::contains(refusal(kNothing, 0, 1, PHOTOMETRIC_PALETTE), "palette"));
  CHECK(test::contains(refusal(kNothing, 0, 4, PHOTOMETRIC_SEPARATED), "CMYK"));
  CHECK(test::contains(refusal(kNothing, 0, 5, PHOTOMETRIC_RGB), "5 channels"));
  CHECK(test::contains(refusal(TIFFTAG_BITSPERSAMPLE, 1, 1, PHOTOMETRIC_MINISBLACK), "1-bit"));
  CHECK(test::contains(refusal(TIFFTAG_BITSPERSAMPLE, 32, 1, PHOTOMETRIC_MINISBLACK), "32-bit"));
  CHECK(test::contains(refusal(TIFFTAG_SAMPLEFORMAT, SAMPLEFORMAT_INT, 3, PHOTOMETRIC_RGB),
                       "signed"));
  CHECK(test::contains(refusal(TIFFTAG_COMPRESSION, COMPRESSION_JPEG, 1, PHOTOMETRIC_MINISBLACK),
                       "compression 7"));
}

}  // namespace
}  // namespace seamwright
