// Pictures that are too large, or hold what is no light, and how much memory a refusal takes.

#include <limits>

#include <catch2/catch.hpp>

#include "imaging/convert.h"
#include "imaging/orient.h"
#include "imaging/picture_limit.h"
#include "imaging/read_image.h"
#include "imaging/resize.h"
#include "imaging/sample_check.h"
#include "imaging/transfer.h"
#include "imaging/write_image.h"
#include "tests/imaging/dng.h"
#include "tests/imaging/giants.h"
#include "tests/imaging/pictures.h"
#include "tests/imaging/raw_tiff.h"
#include "tests/support/scratch_dir.h"

namespace seamwright {
namespace {

using Catch::Matchers::Contains;
using test::Random;
using test::ScratchDir;

constexpr float kNan = std::numeric_limits<float>::quiet_NaN();
constexpr float kInfinity = std::numeric_limits<float>::infinity();

std::string refusal_of(const std::filesystem::path& path) {
  const auto image = read_image(path);
  REQUIRE_FALSE(image);
  const std::string line = image.error().line();
  CHECK(image.error().where == path.string());
  CHECK_FALSE(image.error().remedy.empty());
  CHECK(line.find('\n') == std::string::npos);
  return line;
}

TEST_CASE("float samples that are no light are refused with their number", "[imaging][limits]") {
  CAPTURE(test::seed());
  Random random(91);
  const ScratchDir dir;
  const auto path = dir / "frame.tif";
  int kinds = 0;
  for (const Channels channels : test::kAllChannels) {
    for (const bool tiled : {false, true}) {
      Image image = test::random_image(random, 37, 23, channels, SampleType::f32);
      const auto step = static_cast<std::size_t>(image.channel_count());
      image.row<float>(5)[7 * step + (step - 1)] = kNan;
      image.row<float>(5)[36 * step] = kInfinity;
      image.row<float>(20)[0] = -kInfinity;
      test::write_raw_tiff(path, image, {.tiled = tiled});
      CHECK_THAT(refusal_of(path), Contains("holds 3 samples without a finite value") &&
                                       Contains("the first at column 7, row 5"));
      image = test::random_image(random, 37, 23, channels, SampleType::f32);
      image.row<float>(22)[36 * step] = 3e38F;
      test::write_raw_tiff(path, image, {.tiled = tiled});
      CHECK_THAT(refusal_of(path), Contains("holds 1 sample beyond 1073741824 times white") &&
                                       Contains("the first at column 36, row 22"));
      image.row<float>(1)[0] = kNan;
      test::write_raw_tiff(path, image, {.tiled = tiled});
      CHECK_THAT(refusal_of(path),
                 Contains("holds 1 sample without a finite value and 1 sample beyond"));
      // The place is one of the upright picture.
      test::write_raw_tiff(path, image, {.tiled = tiled, .orientation = ORIENTATION_BOTRIGHT});
      CHECK_THAT(refusal_of(path), Contains("the first at column 0, row 0"));
      ++kinds;
    }
  }
  CHECK(kinds == 8);
}

TEST_CASE("float samples of any light are read as they are", "[imaging][limits]") {
  CAPTURE(test::seed());
  Random random(92);
  const ScratchDir dir;
  Image image = test::random_image(random, 20, 10, Channels::rgb, SampleType::f32);
  image.row<float>(3)[4] = kMostSample;
  image.row<float>(4)[5] = -kMostSample;
  image.row<float>(5)[6] = std::numeric_limits<float>::denorm_min();
  test::write_raw_tiff(dir / "frame.tif", image, {});
  const auto read = read_image(dir / "frame.tif");
  REQUIRE(read);
  CHECK(test::same_picture(*read, image));
}

TEST_CASE("an error about a colour profile names the file", "[imaging][limits]") {
  CAPTURE(test::seed());
  Random random(93);
  const ScratchDir dir;
  const auto path = dir / "frame.tif";
  Image image = test::random_image(random, 20, 10, Channels::rgb, SampleType::u16);
  image.icc_profile = test::bytes_of("this is no profile at all");
  REQUIRE(write_image(path, image));
  const auto read = read_image(path);
  REQUIRE(read);
  int asked = 0;
  for (const Image& made :
       {*read, crop(*read, 1, 1, 8, 8), rotate_quarter_turns(*read, 1), mirror_left_right(*read),
        to_type(*read, SampleType::f32), resized(*read, 10, 5, Borders::repeat)}) {
    const auto curve = TransferCurve::of(made);
    REQUIRE_FALSE(curve);
    CHECK(curve.error().line().starts_with(path.string() + ": ICC profile: is broken"));
    ++asked;
  }
  CHECK(asked == 6);
}

TEST_CASE("a PNG's text that claims more than the file holds takes no memory",
          "[imaging][limits]") {
  const ScratchDir dir;
  const auto path = dir / "frame.png";
  REQUIRE(write_image(path, test::smooth_image(40, 30, Channels::rgb)));
  const std::string sound = test::get_file(path);
  const std::size_t behind_header = 8 + 25;   // signature; IHDR
  const std::size_t end = sound.size() - 12;  // IEND
  REQUIRE(sound.substr(end + 4, 4) == "IEND");
  for (const char* kind : {"tEXt", "zTXt", "iTXt", "iCCP", "eXIf"}) {
    for (const std::size_t at : {behind_header, end}) {
      CAPTURE(kind, at);
      std::string claiming = sound;
      claiming.insert(at, test::big_endian(1'900'000'000, 4) + kind + "comment");
      test::put_file(path, claiming);
      const auto look = test::peak_of([&] { return read_image(path) ? 1 : 0; });
      CHECK(look.exit_code == 0);
      CHECK(look.grown_kib < 200 * 1024);
    }
  }
  // What lies behind the end belongs to nobody.
  test::put_file(path, sound + std::string("\x7F\xFF\xFF\xFFtEXt", 8));
  CHECK(read_image(path));
}

// Small sound files of every format, 40 × 30.
std::vector<std::filesystem::path> small_files(const ScratchDir& dir) {
  const Image picture = test::smooth_image(40, 30, Channels::rgb);
  std::vector<std::filesystem::path> files;
  for (const char* name : {"a.tif", "a.png", "a.jpg"}) {
    files.push_back(dir / name);
    REQUIRE(write_image(files.back(), picture));
  }
  files.push_back(dir / "big.tif");
  REQUIRE(write_image(files.back(), picture, {.bigtiff = BigTiff::always}));
  files.push_back(dir / "a.dng");
  test::write_dng(files.back(), 40, 30, [](int, int, std::size_t) { return 0.5; });
  return files;
}

TEST_CASE("a limit on pixels and on bytes holds for every format", "[imaging][limits]") {
  const ScratchDir dir;
  int refused = 0;
  for (const auto& path : small_files(dir)) {
    CAPTURE(path);
    CHECK(read_image(path));
    {
      const PictureLimitScope scope({.pixels = 1199});
      CHECK_THAT(refusal_of(path), Contains("is 40 × 30 pixels") && Contains("Gpx are read"));
      CHECK(read_image_header(path));  // what a file says is told whatever its size
      ++refused;
    }
    {
      const PictureLimitScope scope({.bytes = 3599});
      CHECK_THAT(refusal_of(path), Contains("is 40 × 30 pixels") && Contains("in memory"));
    }
    {
      const PictureLimitScope scope({.pixels = 1200, .bytes = 1200 * 22});
      CHECK(read_image(path));
      {
        const PictureLimitScope inner({.pixels = 1});
        CHECK_FALSE(read_image(path));
      }
      CHECK(read_image(path));
    }
    CHECK(read_image(path));
  }
  CHECK(refused == 5);
}

TEST_CASE("panoramas as wide as this program makes them are within the limit",
          "[imaging][limits]") {
  const PictureLimitScope scope(PictureLimit{});
  CHECK(check_picture_limit("wide.tif", 65536, 32768, 6));
  CHECK_FALSE(check_picture_limit("wider.tif", 131072, 65536, 6));
  CHECK(PictureLimit::usual().pixels == 4'000'000'000);
  CHECK(PictureLimit::usual().bytes > (std::uint64_t{1} << 28U));
  CHECK(PictureLimit::usual().bytes < UINT64_MAX / 2);
}

// The sanitizers keep freed memory for a while: it is measured in the release build.
TEST_CASE("giants that a file cannot hold are refused with little memory",
          "[imaging][limits][long]") {
  const ScratchDir dir;
  int giants = 0;
  for (const auto& [name, bytes] : test::giants()) {
    CAPTURE(name);
    test::put_file(dir / name, bytes);
    // Its own process: what others took before does not count, and what it takes is its own.
    const std::string file = (dir / name).string();
    const test::Peak peak = test::peak_of([&] {
      static_cast<void>(read_image_header(file));
      return read_image(file) ? 1 : 0;
    });
    CHECK(peak.exit_code == 0);
    CHECK(peak.grown_kib < 64 * 1024);
    ++giants;
  }
  CHECK(giants >= 9);
}

}  // namespace
}  // namespace seamwright
