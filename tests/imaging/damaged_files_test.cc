#include <map>

#include <catch2/catch.hpp>
#include <sys/resource.h>

#include "imaging/metadata.h"
#include "imaging/read_image.h"
#include "imaging/write_image.h"
#include "tests/imaging/pictures.h"
#include "tests/imaging/profiles.h"
#include "tests/imaging/raw_tiff.h"
#include "tests/imaging/silence.h"
#include "tests/support/scratch_dir.h"

namespace seamwright {
namespace {

using test::Random;
using test::RawTiff;
using test::ScratchDir;

// Sound files of many kinds by name, as bytes.
std::map<std::string, std::string> sound_files() {
  CAPTURE(test::seed());
  Random random(81);
  const ScratchDir dir;
  std::map<std::string, std::string> files;
  Image words = test::random_image(random, 40, 30, Channels::rgb, SampleType::u16);
  words.icc_profile = test::gamma_profile(2.2);
  const Image bytes = test::smooth_image(40, 30, Channels::rgb);
  const FrameInfo info{.taken_at = "2024:11:25 13:37:00", .exposure_s = 0.5};
  const std::string xmp = gpano_xmp(PanoramaInfo::whole_sphere(40, 20));
  const auto add = [&](const std::string& name, const Image& image, WriteOptions options) {
    options.info = info;
    options.xmp = xmp;
    REQUIRE(write_image(dir / name, image, options));
    files[name] = test::get_file(dir / name);
  };
  add("plain.tif", words, {});
  add("lzw.tif", words, {.tiff_compression = TiffCompression::lzw});
  add("deflate.tif", words, {.tiff_compression = TiffCompression::deflate});
  add("big.tif", bytes, {.bigtiff = BigTiff::always});
  add("plain.png", words, {});
  add("plain.jpg", bytes, {});
  for (const auto& [name, compression] :
       std::map<std::string, std::uint16_t>{{"tiled.tif", COMPRESSION_NONE},
                                            {"tiled-lzw.tif", COMPRESSION_LZW},
                                            {"packbits.tif", COMPRESSION_PACKBITS}}) {
    RawTiff options{.mode = "wb", .compression = compression};
    options.tiled = name != "packbits.tif";
    options.planes_apart = name == "tiled-lzw.tif";
    test::write_raw_tiff(dir / name, bytes, options);
    files[name] = test::get_file(dir / name);
  }
  return files;
}

long peak_memory_kib() {
  rusage usage{};
  getrusage(RUSAGE_SELF, &usage);
  return usage.ru_maxrss;
}

TEST_CASE("a file cut short is an error, never a partial picture", "[imaging][damaged]") {
  const ScratchDir dir;
  int cuts = 0;
  for (const auto& [name, bytes] : sound_files()) {
    const auto path = dir / name;
    // libtiff writes its directory last, so most cuts lose it; a cut of the trailing fields alone
    // may be harmless to the pixels, and PNG and JPEG must end with their end mark.
    test::put_file(path, bytes);
    const auto whole = read_image(path);
    REQUIRE(whole);
    for (std::size_t size = 0; size < bytes.size(); size += 1 + bytes.size() / 150, ++cuts) {
      CAPTURE(name, size, bytes.size());
      test::put_file(path, std::string_view(bytes).substr(0, size));
      Result<Image> image;
      const std::string printed = test::printed_by([&] { image = read_image(path); });
      CHECK(printed.empty());
      if (image) {
        // Only the values of fields were lost: all pixels must be there.
        CHECK(test::same_picture(*image, *whole));
        CHECK(size > 40 * 30 * 3);
      } else {
        CHECK_FALSE(image.error().what.empty());
        CHECK(test::contains(image.error().where, name));
        CHECK_FALSE(test::contains(image.error().line(), "\n"));
      }
    }
  }
  CHECK(cuts > 1000);
}

TEST_CASE("pixels cut off in the middle are an error in every format", "[imaging][damaged]") {
  const ScratchDir dir;
  for (const char* name : {"plain.png", "plain.jpg"}) {
    CAPTURE(name);
    const std::string bytes = sound_files()[name];
    test::put_file(dir / name, std::string_view(bytes).substr(0, bytes.size() * 9 / 10));
    const auto image = read_image(dir / name);
    REQUIRE_FALSE(image);
    CHECK(test::contains(image.error().what, "damaged or cut short"));
  }
}

TEST_CASE("flipped bytes never crash, print or take much memory", "[imaging][damaged]") {
  CAPTURE(test::seed());
  Random random(82);
  const ScratchDir dir;
  const auto files = sound_files();
  const long before = peak_memory_kib();
  int runs = 0;
  int refused = 0;
  const std::string printed = test::printed_by([&] {
    for (const auto& [name, sound] : files) {
      const auto path = dir / name;
      for (int i = 0; i < 400; ++i, ++runs) {
        std::string bytes = sound;
        const int flips = random.integer(1, 6);
        for (int flip = 0; flip < flips; ++flip) {
          // Half of them where the structure is: in the first and last 300 bytes.
          const int last = static_cast<int>(bytes.size()) - 1;
          int at = random.integer(0, last);
          if (random.chance(0.25)) at = random.integer(0, std::min(300, last));
          if (random.chance(0.25)) at = random.integer(std::max(0, last - 300), last);
          bytes[static_cast<std::size_t>(at)] = static_cast<char>(random.bits());
        }
        test::put_file(path, bytes);
        const auto image = read_image(path);
        if (!image) ++refused;
        static_cast<void>(read_image_header(path));
        static_cast<void>(read_frame_info(path));
      }
    }
  });
  CHECK(printed.empty());
  CHECK(runs == 400 * static_cast<int>(files.size()));
  CHECK(refused > runs / 20);
  CHECK(refused < runs);
  // Address sanitizer keeps freed memory for a while: 256 MiB by default.
  CHECK(peak_memory_kib() - before < 600 * 1024);
}

TEST_CASE("noise behind a sound start is refused", "[imaging][damaged]") {
  CAPTURE(test::seed());
  Random random(83);
  const ScratchDir dir;
  using std::string_literals::operator""s;
  const auto path = dir / "noise.tif";
  int refused = 0;
  const std::string printed = test::printed_by([&] {
    for (const std::string& start :
         {"II*\0\x08\0\0\0"s, "MM\0*\0\0\0\x08"s, "II+\0\x08\0\0\0\x10\0\0\0\0\0\0\0"s,
          "\x89PNG\r\n\x1A\n"s, "\xFF\xD8\xFF\xE0"s, ""s}) {
      for (int i = 0; i < 50; ++i) {
        test::put_file(path, start + random.bytes(random.integer(0, 2000)));
        if (!read_image(path)) ++refused;
      }
    }
  });
  CHECK(printed.empty());
  CHECK(refused == 300);
}

TEST_CASE("sizes that cannot be are refused before memory is taken", "[imaging][damaged]") {
  const ScratchDir dir;
  const auto path = dir / "huge.tif";
  const long before = peak_memory_kib();
  const auto refusal = [&](std::uint32_t width, std::uint32_t height, std::uint32_t tile,
                           int compression) {
    {
      const std::unique_ptr<TIFF, decltype(&TIFFClose)> tiff(TIFFOpen(path.c_str(), "w"),
                                                             TIFFClose);
      TIFFSetField(tiff.get(), TIFFTAG_IMAGEWIDTH, width);
      TIFFSetField(tiff.get(), TIFFTAG_IMAGELENGTH, height);
      TIFFSetField(tiff.get(), TIFFTAG_BITSPERSAMPLE, 16);
      TIFFSetField(tiff.get(), TIFFTAG_SAMPLESPERPIXEL, 3);
      TIFFSetField(tiff.get(), TIFFTAG_PHOTOMETRIC, PHOTOMETRIC_RGB);
      TIFFSetField(tiff.get(), TIFFTAG_COMPRESSION, compression);
      if (tile > 0) {
        TIFFSetField(tiff.get(), TIFFTAG_TILEWIDTH, tile);
        TIFFSetField(tiff.get(), TIFFTAG_TILELENGTH, tile);
      } else {
        TIFFSetField(tiff.get(), TIFFTAG_ROWSPERSTRIP, height);
      }
      TIFFWriteDirectory(tiff.get());
    }
    const auto image = read_image(path);
    REQUIRE_FALSE(image);
    return image.error().what;
  };
  CHECK(test::contains(refusal(100'000, 100'000, 0, COMPRESSION_NONE), "100000 × 100000"));
  CHECK(test::contains(refusal(30'000, 30'000, 0, COMPRESSION_LZW), "can hold"));
  CHECK(test::contains(refusal(4'000'000'000U, 1, 0, COMPRESSION_LZW), "4000000000"));
  CHECK(test::contains(refusal(16, 16, 32'768, COMPRESSION_ADOBE_DEFLATE), "can hold"));
  CHECK(peak_memory_kib() - before < 100 * 1024);
}

}  // namespace
}  // namespace seamwright
