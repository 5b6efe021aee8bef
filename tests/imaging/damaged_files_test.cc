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

using Catch::Matchers::Contains;
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

// Anew each time: some file systems flush a file to the disk when it is cut to nothing and written
// again, which makes thousands of small writes slow.
void replace_file(const std::filesystem::path& path, std::string_view bytes) {
  std::filesystem::remove(path);
  test::put_file(path, bytes);
}

long peak_memory_kib() {
  rusage usage{};
  getrusage(RUSAGE_SELF, &usage);
  return usage.ru_maxrss;
}

// Cuts that lose only the values of fields may leave a sound picture; anything else is an error
// that tells the file, in one line. Empty when all is well.
std::string complaint_about(const Result<Image>& image, const Image& whole,
                            const std::string& name) {
  if (image) return test::same_picture(*image, whole) ? "" : "partial picture";
  const std::string line = image.error().line();
  if (image.error().what.empty() || !test::contains(image.error().where, name)) return line;
  return test::contains(line, "\n") ? "several lines" : "";
}

TEST_CASE("a file cut short is an error, never a partial picture", "[imaging][damaged]") {
  const ScratchDir dir;
  int cuts = 0;
  for (const auto& [name, bytes] : sound_files()) {
    const auto path = dir / name;
    replace_file(path, bytes);
    const auto whole = read_image(path);
    REQUIRE(whole);
    std::vector<std::string> complaints;
    const std::string printed = test::printed_by([&] {
      for (std::size_t size = 0; size < bytes.size(); size += 1 + bytes.size() / 150, ++cuts) {
        replace_file(path, std::string_view(bytes).substr(0, size));
        const std::string complaint = complaint_about(read_image(path), *whole, name);
        if (!complaint.empty()) complaints.push_back(std::to_string(size) + ": " + complaint);
      }
    });
    CAPTURE(name, bytes.size());
    CHECK(printed.empty());
    CHECK(complaints == std::vector<std::string>{});
  }
  CHECK(cuts > 1000);
}

TEST_CASE("pixels cut off in the middle are an error in every format", "[imaging][damaged]") {
  const ScratchDir dir;
  auto files = sound_files();
  for (const char* name : {"plain.png", "plain.jpg"}) {
    CAPTURE(name);
    const std::string& bytes = files[name];
    replace_file(dir / name, std::string_view(bytes).substr(0, bytes.size() * 9 / 10));
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
  constexpr int kRuns = 600;
  int runs = 0;
  int refused = 0;
  const std::string printed = test::printed_by([&] {
    for (const auto& [name, sound] : files) {
      const auto path = dir / name;
      for (int i = 0; i < kRuns; ++i, ++runs) {
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
        replace_file(path, bytes);
        const auto image = read_image(path);
        if (!image) ++refused;
        static_cast<void>(read_image_header(path));
        static_cast<void>(read_frame_info(path));
      }
    }
  });
  CHECK(printed.empty());
  CHECK(runs == kRuns * static_cast<int>(files.size()));
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
        replace_file(path, start + random.bytes(random.integer(0, 2000)));
        if (!read_image(path)) ++refused;
      }
    }
  });
  CHECK(printed.empty());
  CHECK(refused == 300);
}

// A TIFF by hand (TIFF 6.0, section 2): 16-bit grey, 64 bytes of pixels, all fields 32-bit.
std::string tiff_claiming(std::uint32_t width, std::uint32_t height, std::uint32_t tile,
                          std::uint32_t compression) {
  constexpr std::uint32_t kPixelsAt = 8;
  constexpr std::uint32_t kPixelBytes = 64;
  std::map<std::uint32_t, std::uint32_t> fields = {{256, width},       {257, height}, {258, 16},
                                                   {259, compression}, {262, 1},      {277, 1}};
  if (tile > 0) {
    fields.insert({{322, tile}, {323, tile}, {324, kPixelsAt}, {325, kPixelBytes}});
  } else {
    fields.insert({{273, kPixelsAt}, {278, height}, {279, kPixelBytes}});
  }
  std::string bytes;
  const auto put = [&](std::uint32_t number, int size) {
    for (int i = 0; i < size; ++i) bytes += static_cast<char>((number >> (8 * i)) & 0xFFU);
  };
  bytes = "II";
  put(42, 2);
  put(kPixelsAt + kPixelBytes, 4);
  bytes.append(kPixelBytes, '\0');
  put(static_cast<std::uint32_t>(fields.size()), 2);
  for (const auto& [tag, value] : fields) {
    put(tag, 2);
    put(4, 2);
    put(1, 4);
    put(value, 4);
  }
  put(0, 4);
  return bytes;
}

TEST_CASE("sizes that cannot be are refused before memory is taken", "[imaging][damaged]") {
  const ScratchDir dir;
  const auto path = dir / "huge.tif";
  replace_file(path, tiff_claiming(8, 4, 0, COMPRESSION_NONE));
  REQUIRE(read_image(path));  // the hand-made file itself is sound

  const long before = peak_memory_kib();
  const auto refusal = [&](std::uint32_t width, std::uint32_t height, std::uint32_t tile,
                           std::uint32_t compression) {
    replace_file(path, tiff_claiming(width, height, tile, compression));
    const auto image = read_image(path);
    REQUIRE_FALSE(image);
    return image.error().line();
  };
  CHECK_THAT(refusal(100'000, 100'000, 0, COMPRESSION_NONE), Contains("100000 × 100000"));
  CHECK_THAT(refusal(20, 10, 0, COMPRESSION_NONE), Contains("can hold"));
  CHECK_THAT(refusal(30'000, 30'000, 0, COMPRESSION_LZW), Contains("can hold"));
  CHECK_THAT(refusal(4'000'000'000U, 1, 0, COMPRESSION_LZW), Contains("4000000000"));
  CHECK_THAT(refusal(8, 0, 0, COMPRESSION_NONE), Contains("damaged"));
  CHECK_THAT(refusal(16, 16, 32'768, COMPRESSION_ADOBE_DEFLATE), Contains("can hold"));
  CHECK_THAT(refusal(16, 16, 0x7FFFFFF0U, COMPRESSION_ADOBE_DEFLATE), Contains("damaged"));
  CHECK(peak_memory_kib() - before < 100 * 1024);
}

}  // namespace
}  // namespace seamwright
