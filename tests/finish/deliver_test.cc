#include "compose/finish/deliver.h"

#include <ImfArray.h>
#include <ImfChannelList.h>
#include <ImfHeader.h>
#include <ImfRgbaFile.h>
#include <ImfStandardAttributes.h>
#include <catch2/catch.hpp>
#include <exiv2/exiv2.hpp>

#include "imaging/read_image.h"
#include "imaging/transfer.h"
#include "tests/finish/sphere_pictures.h"
#include "tests/imaging/pictures.h"
#include "tests/support/scratch_dir.h"

namespace seamwright {
namespace {

using test::panorama_of;
using test::ScratchDir;

PanoramaRecord record() {
  PanoramaRecord record;
  record.info.body_model = "Lantern Two";
  record.info.taken_at = "2024:05:14 09:03:20";
  record.info.exposure_s = 0.125;
  record.info.iso = 200;
  record.info.location = Location{-33.5, 151.25, 12.5};
  record.sphere.heading_deg = 271.5;
  record.sphere.source_photos = 2;
  return record;
}

std::string field(Exiv2::Image& file, const std::string& name) {
  return file.xmpData()["Xmp.GPano." + name].toString();
}

// Against the open GPano specification (namespace in imaging/metadata.h), as Exiv2 reads it:
// all fields that it marks as required, their types by their values.
void check_gpano(const std::filesystem::path& path, int full_width, int top, int rows) {
  CAPTURE(path.string());
  const auto file = Exiv2::ImageFactory::open(path.string());
  file->readMetadata();
  CHECK(field(*file, "ProjectionType") == "equirectangular");
  CHECK(field(*file, "UsePanoramaViewer") == "True");
  CHECK(std::stod(field(*file, "PoseHeadingDegrees")) == Approx(271.5));
  CHECK(field(*file, "FullPanoWidthPixels") == std::to_string(full_width));
  CHECK(field(*file, "FullPanoHeightPixels") == std::to_string(full_width / 2));
  CHECK(field(*file, "CroppedAreaImageWidthPixels") == std::to_string(full_width));
  CHECK(field(*file, "CroppedAreaImageHeightPixels") == std::to_string(rows));
  CHECK(field(*file, "CroppedAreaLeftPixels") == "0");
  CHECK(field(*file, "CroppedAreaTopPixels") == std::to_string(top));
  CHECK(field(*file, "SourcePhotosCount") == "2");
  CHECK(file->exifData()["Exif.Image.Model"].toString() == "Lantern Two");
}

TEST_CASE("whole and cropped panoramas say where they lie on the sphere", "[finish][deliver]") {
  const ScratchDir dir;
  const Image panorama = panorama_of(256, test::waves(6));
  REQUIRE(deliver(panorama, record(),
                  {.picture = dir / "whole.tif", .jpeg = dir / "whole.jpg", .jpeg_width_px = 128}));
  check_gpano(dir / "whole.tif", 256, 0, 128);
  check_gpano(dir / "whole.jpg", 128, 0, 64);
  CHECK(read_image_header(dir / "whole.jpg")->width == 128);
  CHECK(test::same_picture(*read_image(dir / "whole.tif"), panorama));

  const Latitudes kept{-45, 90};
  REQUIRE(deliver(
      panorama, record(),
      {.picture = dir / "crop.tif", .jpeg = dir / "crop.jpg", .jpeg_width_px = 128, .kept = kept}));
  check_gpano(dir / "crop.tif", 256, 0, 96);
  check_gpano(dir / "crop.jpg", 128, 0, 48);
  REQUIRE(deliver(panorama, record(), {.picture = dir / "low.tif", .kept = {-90, 45}}));
  check_gpano(dir / "low.tif", 256, 32, 96);
  const auto low = read_image(dir / "low.tif");
  REQUIRE(low);
  CHECK(low->height() == 96);
  CHECK(std::ranges::equal(low->row<std::uint16_t>(0), panorama.row<std::uint16_t>(32)));
  // The program's own reader agrees with Exiv2's.
  const auto back = read_panorama_info(dir / "low.tif");
  REQUIRE((back && *back));
  CHECK((*back)->top_px == 32);
  CHECK((*back)->heading_deg == Approx(271.5));
  CHECK((*back)->source_photos == 2);
}

TEST_CASE("a smaller JPEG shows the same", "[finish][deliver]") {
  const ScratchDir dir;
  const test::Codes scene = test::waves(4);
  REQUIRE(deliver(panorama_of(512, scene), record(),
                  {.jpeg = dir / "small.jpg", .jpeg_quality = 98, .jpeg_width_px = 128}));
  const auto small = read_image(dir / "small.jpg");
  REQUIRE(small);
  const Equirect raster{128, 64};
  int worst = 0;
  for (int y = 1; y < 63; ++y) {
    for (int x = 0; x < 128; ++x) {
      const double code = 255 * scene(raster.direction({x + 0.5, y + 0.5}), 1);
      const int seen = small->row<std::uint8_t>(y)[static_cast<std::size_t>(3 * x + 1)];
      worst = std::max(worst, static_cast<int>(std::abs(seen - code)));
    }
  }
  CHECK(worst <= 3);
}

// Outside check: OpenEXR's own simple interface.
TEST_CASE("EXR holds linear light", "[finish][deliver]") {
  const ScratchDir dir;
  Image panorama = panorama_of(64, test::waves(3));
  REQUIRE(deliver(panorama, record(), {.exr = dir / "light.exr"}));
  Imf::RgbaInputFile file((dir / "light.exr").string().c_str());
  CHECK(file.dataWindow().max.x == 63);
  CHECK(file.dataWindow().max.y == 31);
  CHECK(Imf::capDate(file.header()) == "2024:05:14 09:03:20");
  CHECK(Imf::expTime(file.header()) == Approx(0.125));
  CHECK(Imf::isoSpeed(file.header()) == Approx(200));
  CHECK(Imf::latitude(file.header()) == Approx(-33.5));
  CHECK(Imf::longitude(file.header()) == Approx(151.25));
  CHECK(Imf::altitude(file.header()) == Approx(12.5));
  CHECK_FALSE(Imf::hasAperture(file.header()));
  Imf::Array2D<Imf::Rgba> pixels(32, 64);
  file.setFrameBuffer(&pixels[0][0], 1, 64);
  file.readPixels(0, 31);
  for (int y = 0; y < 32; y += 5) {
    for (int x = 0; x < 64; x += 5) {
      const auto at = static_cast<std::size_t>(3 * x);
      const double light = srgb_to_linear(panorama.row<std::uint16_t>(y)[at] / 65535.0);
      // Half floats keep 11 bits.
      CHECK(static_cast<float>(pixels[y][x].r) == Approx(light).epsilon(1.0 / 2048));
    }
  }
}

TEST_CASE("deliverables that cannot be are refused, and nothing is written", "[finish][deliver]") {
  const ScratchDir dir;
  const Image panorama = panorama_of(256, test::waves(6));
  const auto refused = [&](const Deliverables& wanted, const std::string& needle) {
    const auto done = deliver(panorama, record(), wanted);
    REQUIRE_FALSE(done);
    CAPTURE(done.error().line());
    CHECK(done.error().line().find(needle) != std::string::npos);
    CHECK(dir.entry_count() == 0);
  };
  refused({.picture = dir / "a.bmp"}, "what kind of picture");
  refused({.jpeg = dir / "a.png"}, "not the name of a JPEG");
  refused({.exr = dir / "a.tif"}, "OpenEXR");
  refused({.picture = dir / "a.jpg", .jpeg = dir / "a.jpg"}, "asked for twice");
  refused({.jpeg = dir / "a.jpg", .jpeg_width_px = 512}, "512 is not an even number");
  refused({.jpeg = dir / "a.jpg", .jpeg_width_px = 127}, "127");
  refused({.jpeg = dir / "a.jpg", .jpeg_quality = 101}, "101");
  refused({.picture = dir / "a.tif", .kept = {40, -40}}, "latitudes");
  refused({.picture = dir / "nowhere/a.tif"}, "nowhere");
  const auto flat =
      deliver(Image(64, 64, Channels::rgb, SampleType::u16), record(), {.picture = dir / "a.tif"});
  CHECK_FALSE(flat);
}

}  // namespace
}  // namespace seamwright
