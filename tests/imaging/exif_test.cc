#include <cmath>
#include <numeric>

#include <catch2/catch.hpp>
#include <exiv2/exiv2.hpp>

#include "base/parallel.h"
#include "imaging/exif_writer.h"
#include "imaging/metadata.h"
#include "imaging/read_image.h"
#include "imaging/write_image.h"
#include "tests/imaging/pictures.h"
#include "tests/support/scratch_dir.h"

namespace seamwright {
namespace {

using test::Random;
using test::ScratchDir;

FrameInfo lantern_info() {
  return {.file = "front.tif",
          .taken_at = "2024:11:25 13:37:00",
          .exposure_s = 1.0 / 60,
          .f_number = 2.8,
          .iso = 400,
          .exposure_bias_ev = -2.0 / 3,
          .focal_length_mm = 1.65,
          .body_make = "Guesthouse Optics",
          .body_model = "Lantern",
          .body_serial = "0117",
          .lens_model = "Lantern 200°",
          .lens_serial = "F 0117"};
}

void check_same(const FrameInfo& actual, const FrameInfo& expected, double epsilon) {
  CHECK(actual.taken_at == expected.taken_at);
  CHECK(actual.body_make == expected.body_make);
  CHECK(actual.body_model == expected.body_model);
  CHECK(actual.body_serial == expected.body_serial);
  CHECK(actual.lens_model == expected.lens_model);
  CHECK(actual.lens_serial == expected.lens_serial);
  const auto same = [&](const std::optional<double>& a, const std::optional<double>& b) {
    REQUIRE(a.has_value() == b.has_value());
    if (a) CHECK(*a == Approx(*b).epsilon(epsilon).margin(0));
  };
  same(actual.exposure_s, expected.exposure_s);
  same(actual.f_number, expected.f_number);
  same(actual.iso, expected.iso);
  same(actual.exposure_bias_ev, expected.exposure_bias_ev);
  same(actual.focal_length_mm, expected.focal_length_mm);
}

TEST_CASE("shooting data survive every file", "[imaging][exif]") {
  const ScratchDir dir;
  const Image image = test::smooth_image(16, 12, Channels::rgb);
  for (const char* name : {"f.tif", "f.png", "f.jpg"}) {
    CAPTURE(name);
    REQUIRE(write_image(dir / name, image, {.info = lantern_info()}));
    const auto back = read_frame_info(dir / name);
    REQUIRE(back);
    CHECK(back->file == (dir / name).string());
    check_same(*back, lantern_info(), 1e-9);
  }
  REQUIRE(
      write_image(dir / "big.tif", image, {.bigtiff = BigTiff::always, .info = lantern_info()}));
  const auto back = read_frame_info(dir / "big.tif");
  REQUIRE(back);
  check_same(*back, lantern_info(), 1e-6);  // libtiff keeps fractions as float
}

TEST_CASE("a location survives every file, and none is invented", "[imaging][exif]") {
  const ScratchDir dir;
  const Image image = test::smooth_image(16, 12, Channels::rgb);
  const Location places[] = {
      {47.123456, 8.7654321, 431.25}, {-33.9, -151.25, -12.5}, {0.0001, -0.0001, {}}};
  int cases = 0;
  for (const Location& place : places) {
    FrameInfo info = lantern_info();
    info.location = place;
    REQUIRE(write_image(dir / "big.tif", image, {.bigtiff = BigTiff::always, .info = info}));
    for (const char* name : {"f.tif", "f.png", "f.jpg"}) {
      REQUIRE(write_image(dir / name, image, {.info = info}));
    }
    for (const char* name : {"f.tif", "f.png", "f.jpg", "big.tif"}) {
      CAPTURE(name, place.latitude_deg);
      const auto back = read_frame_info(dir / name);
      REQUIRE((back && back->location));
      // Seconds are kept to the 10 000th: 3e-8 degrees.
      CHECK(back->location->latitude_deg == Approx(place.latitude_deg).margin(3e-8).epsilon(0));
      CHECK(back->location->longitude_deg == Approx(place.longitude_deg).margin(3e-8).epsilon(0));
      REQUIRE(back->location->altitude_m.has_value() == place.altitude_m.has_value());
      if (place.altitude_m) CHECK(*back->location->altitude_m == Approx(*place.altitude_m));
      CHECK(back->taken_at == info.taken_at);
      ++cases;
    }
  }
  CHECK(cases == 12);
  for (const Location& nowhere : {Location{91, 0, {}}, Location{std::nan(""), 0, {}}}) {
    FrameInfo info = lantern_info();
    info.location = nowhere;
    REQUIRE(write_image(dir / "n.jpg", image, {.info = info}));
    CHECK_FALSE(read_frame_info(dir / "n.jpg")->location);
  }
}

// Outside check: Exiv2's own keys and values, exact fractions.
TEST_CASE("Exiv2 reads our fields", "[imaging][exif]") {
  const ScratchDir dir;
  const Image image = test::smooth_image(16, 12, Channels::rgb);
  for (const char* name : {"f.tif", "f.png", "f.jpg"}) {
    CAPTURE(name);
    REQUIRE(write_image(dir / name, image, {.info = lantern_info()}));
    const auto file = Exiv2::ImageFactory::open((dir / name).string());
    file->readMetadata();
    Exiv2::ExifData& exif = file->exifData();
    CHECK(exif["Exif.Image.Make"].toString() == "Guesthouse Optics");
    CHECK(exif["Exif.Image.Model"].toString() == "Lantern");
    CHECK(exif["Exif.Image.Software"].toString() == "Seamwright");
    CHECK(exif["Exif.Photo.DateTimeOriginal"].toString() == "2024:11:25 13:37:00");
    CHECK(exif["Exif.Photo.ExposureTime"].toString() == "1/60");
    CHECK(exif["Exif.Photo.FNumber"].toString() == "14/5");
    CHECK(exif["Exif.Photo.ISOSpeedRatings"].toString() == "400");
    CHECK(exif["Exif.Photo.ExposureBiasValue"].toString() == "-2/3");
    CHECK(exif["Exif.Photo.FocalLength"].toString() == "33/20");
    CHECK(exif["Exif.Photo.BodySerialNumber"].toString() == "0117");
    CHECK(exif["Exif.Photo.LensModel"].toString() == "Lantern 200°");
    // Exif 2.32, 4.6.5: the tags by number.
    CHECK(exif.findKey(Exiv2::ExifKey("Exif.Photo.ExposureTime"))->tag() == 0x829A);
    CHECK(exif.findKey(Exiv2::ExifKey("Exif.Photo.FNumber"))->tag() == 0x829D);
    CHECK(exif.findKey(Exiv2::ExifKey("Exif.Photo.ISOSpeedRatings"))->tag() == 0x8827);
    CHECK(exif.findKey(Exiv2::ExifKey("Exif.Photo.ExposureBiasValue"))->tag() == 0x9204);
    CHECK(exif.findKey(Exiv2::ExifKey("Exif.Photo.FocalLength"))->tag() == 0x920A);
  }
}

TEST_CASE("many threads may read at once", "[imaging][exif]") {
  const ScratchDir dir;
  const Image image = test::smooth_image(16, 12, Channels::rgb);
  const std::vector<std::string> names = {"f.tif", "f.png", "f.jpg"};
  for (const std::string& name : names) {
    REQUIRE(
        write_image(dir / name, image,
                    {.info = lantern_info(), .xmp = gpano_xmp(PanoramaInfo::whole_sphere(4, 2))}));
  }
  constexpr int kReads = 300;
  std::vector<int> sound(kReads);
  parallel_for(0, kReads, [&](int i) {
    const auto at = static_cast<std::size_t>(i);
    const auto path = dir / names[at % names.size()];
    const auto info = read_frame_info(path);
    const auto back = read_image(path);
    sound[at] = info && info->body_model == "Lantern" && back && back->width() == 16 ? 1 : 0;
  });
  CHECK(std::accumulate(sound.begin(), sound.end(), 0) == kReads);
}

TEST_CASE("files that Exiv2 wrote are read", "[imaging][exif]") {
  const ScratchDir dir;
  REQUIRE(write_image(dir / "f.jpg", test::smooth_image(16, 12, Channels::rgb)));
  {
    const auto file = Exiv2::ImageFactory::open((dir / "f.jpg").string());
    file->readMetadata();
    Exiv2::ExifData& exif = file->exifData();
    exif["Exif.Image.Model"] = "Lantern   ";  // padded, as some bodies do
    exif["Exif.Photo.ExposureTime"] = Exiv2::URational(1, 0);
    exif["Exif.Photo.FNumber"] = Exiv2::URational(0, 10);
    exif["Exif.Photo.ExposureBiasValue"] = Exiv2::Rational(0, 3);
    exif["Exif.Photo.DateTimeOriginal"] = "yesterday";
    file->writeMetadata();
  }
  const auto info = read_frame_info(dir / "f.jpg");
  REQUIRE(info);
  CHECK(info->body_model == "Lantern");
  CHECK_FALSE(info->exposure_s);  // infinite
  CHECK_FALSE(info->f_number);    // unknown
  CHECK(info->exposure_bias_ev == 0.0);
  CHECK_FALSE(info->taken_at);
}

TEST_CASE("files without shooting data have none", "[imaging][exif]") {
  const ScratchDir dir;
  const Image image = test::smooth_image(16, 12, Channels::rgb);
  for (const char* name : {"f.tif", "f.png", "f.jpg"}) {
    CAPTURE(name);
    REQUIRE(write_image(dir / name, image));
    const auto info = read_frame_info(dir / name);
    REQUIRE(info);
    CHECK_FALSE(info->exposure_s);
    CHECK_FALSE(info->taken_at);
    CHECK_FALSE(info->body_model);
  }
  const auto missing = read_frame_info(dir / "missing.tif");
  REQUIRE_FALSE(missing);
  CHECK(missing.error().what == "no such file");
}

TEST_CASE("values that EXIF cannot hold are left out", "[imaging][exif]") {
  const ScratchDir dir;
  FrameInfo info;
  info.taken_at = "25 November";
  info.exposure_s = -1;
  info.f_number = std::nan("");
  info.iso = 1e6;
  info.focal_length_mm = INFINITY;
  for (const char* name : {"f.tif", "f.jpg"}) {
    REQUIRE(write_image(dir / name, test::smooth_image(8, 8, Channels::rgb), {.info = info}));
    const auto back = read_frame_info(dir / name);
    REQUIRE(back);
    check_same(*back, {}, 0);
  }
}

TEST_CASE("fractions are simple and near", "[imaging][exif]") {
  const auto is = [](double value, std::int64_t numerator, std::int64_t denominator) {
    const Fraction fraction = simple_fraction(value);
    return fraction.numerator == numerator && fraction.denominator == denominator;
  };
  CHECK(is(0, 0, 1));
  CHECK(is(30, 30, 1));
  CHECK(is(1.0 / 8000, 1, 8000));
  CHECK(is(5.6, 28, 5));
  CHECK(is(1.0 / 3, 1, 3));
  CAPTURE(test::seed());
  Random random(61);
  for (int i = 0; i < 20'000; ++i) {
    const double value = std::exp(random.uniform(-16, 21));
    const Fraction fraction = simple_fraction(value);
    REQUIRE(fraction.denominator >= 1);
    REQUIRE(fraction.numerator < 0x80000000LL);
    REQUIRE(fraction.denominator < 0x80000000LL);
    const double near =
        static_cast<double>(fraction.numerator) / static_cast<double>(fraction.denominator);
    REQUIRE(near == Approx(value).epsilon(2e-9));
  }
}

}  // namespace
}  // namespace seamwright
