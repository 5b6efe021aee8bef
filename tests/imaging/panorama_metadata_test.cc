#include <catch2/catch.hpp>
#include <exiv2/exiv2.hpp>

#include "imaging/metadata.h"
#include "imaging/write_image.h"
#include "tests/imaging/pictures.h"
#include "tests/support/scratch_dir.h"

namespace seamwright {
namespace {

using test::ScratchDir;

// Outside check: Exiv2's XMP parser. Names and types: the open GPano specification.
std::string field(const Exiv2::XmpData& xmp, const std::string& name) {
  const auto at = xmp.findKey(Exiv2::XmpKey("Xmp.GPano." + name));
  return at == xmp.end() ? "(absent)" : at->toString();
}

Exiv2::XmpData parsed(const std::string& packet) {
  Exiv2::XmpData xmp;
  REQUIRE(Exiv2::XmpParser::decode(xmp, packet) == 0);
  return xmp;
}

PanoramaInfo full_info() {
  PanoramaInfo info;
  info.full_width_px = 8534;
  info.full_height_px = 4267;
  info.left_px = 11;
  info.top_px = 22;
  info.width_px = 8000;
  info.height_px = 4000;
  info.heading_deg = 359.25;
  info.pitch_deg = -1.5;
  info.roll_deg = 2.25;
  info.initial_heading_deg = 90;
  info.initial_pitch_deg = -10;
  info.source_photos = 2;
  info.first_taken_at = "2024:11:25 13:37:00";
  info.last_taken_at = "2024:11:25 13:38:30";
  info.software = "Seamwright <0.1> & \"co\"";
  return info;
}

void check_full(const Exiv2::XmpData& xmp) {
  CHECK(field(xmp, "ProjectionType") == "equirectangular");
  CHECK(field(xmp, "UsePanoramaViewer") == "True");
  CHECK(std::stod(field(xmp, "PoseHeadingDegrees")) == 359.25);
  CHECK(std::stod(field(xmp, "PosePitchDegrees")) == -1.5);
  CHECK(std::stod(field(xmp, "PoseRollDegrees")) == 2.25);
  CHECK(field(xmp, "CroppedAreaImageWidthPixels") == "8000");
  CHECK(field(xmp, "CroppedAreaImageHeightPixels") == "4000");
  CHECK(field(xmp, "FullPanoWidthPixels") == "8534");
  CHECK(field(xmp, "FullPanoHeightPixels") == "4267");
  CHECK(field(xmp, "CroppedAreaLeftPixels") == "11");
  CHECK(field(xmp, "CroppedAreaTopPixels") == "22");
  CHECK(field(xmp, "InitialViewHeadingDegrees") == "90");
  CHECK(field(xmp, "InitialViewPitchDegrees") == "-10");
  CHECK(field(xmp, "SourcePhotosCount") == "2");
  CHECK(field(xmp, "FirstPhotoDate") == "2024-11-25T13:37:00");
  CHECK(field(xmp, "LastPhotoDate") == "2024-11-25T13:38:30");
  CHECK(field(xmp, "StitchingSoftware") == "Seamwright <0.1> & \"co\"");
}

TEST_CASE("the panorama packet says everything", "[imaging][xmp]") {
  check_full(parsed(gpano_xmp(full_info())));
}

TEST_CASE("the panorama packet uses the published namespace", "[imaging][xmp]") {
  CHECK(test::contains(gpano_xmp(full_info()),
                       "xmlns:GPano=\"http://ns.google.com/photos/1.0/panorama/\""));
}

TEST_CASE("a whole sphere needs nothing else", "[imaging][xmp]") {
  const Exiv2::XmpData xmp = parsed(gpano_xmp(PanoramaInfo::whole_sphere(8192, 4096)));
  CHECK(field(xmp, "FullPanoWidthPixels") == "8192");
  CHECK(field(xmp, "CroppedAreaImageWidthPixels") == "8192");
  CHECK(field(xmp, "CroppedAreaImageHeightPixels") == "4096");
  CHECK(field(xmp, "CroppedAreaLeftPixels") == "0");
  CHECK(field(xmp, "PoseHeadingDegrees") == "0.000000");
  CHECK(field(xmp, "PosePitchDegrees") == "(absent)");
  CHECK(field(xmp, "SourcePhotosCount") == "(absent)");
  CHECK(field(xmp, "FirstPhotoDate") == "(absent)");
}

TEST_CASE("angles are brought into their ranges", "[imaging][xmp]") {
  const auto heading = [](double value) {
    PanoramaInfo info = PanoramaInfo::whole_sphere(4, 2);
    info.heading_deg = value;
    return std::stod(field(parsed(gpano_xmp(info)), "PoseHeadingDegrees"));
  };
  CHECK(heading(0) == 0);
  CHECK(heading(360) == 0);
  CHECK(heading(-90) == 270);
  CHECK(heading(725.5) == 5.5);
  CHECK(heading(359.99999999) == 0);
  CHECK(heading(-1e-12) == 0);
  const auto roll = [](double value) {
    PanoramaInfo info = PanoramaInfo::whole_sphere(4, 2);
    info.roll_deg = value;
    return std::stod(field(parsed(gpano_xmp(info)), "PoseRollDegrees"));
  };
  CHECK(roll(0) == 0);
  CHECK(roll(180) == 180);
  CHECK(roll(-180) == 180);
  CHECK(roll(190) == -170);
  CHECK(roll(-179.5) == -179.5);
}

TEST_CASE("panorama and shooting data arrive in the files", "[imaging][xmp]") {
  const ScratchDir dir;
  const Image image = test::smooth_image(40, 20, Channels::rgb);
  const FrameInfo info{.taken_at = "2024:11:25 13:37:00", .exposure_s = 0.5};
  for (const char* name : {"p.tif", "p.png", "p.jpg"}) {
    CAPTURE(name);
    REQUIRE(write_image(dir / name, image, {.info = info, .xmp = gpano_xmp(full_info())}));
    const auto file = Exiv2::ImageFactory::open((dir / name).string());
    file->readMetadata();
    check_full(file->xmpData());
    CHECK(file->exifData()["Exif.Photo.ExposureTime"].toString() == "1/2");
  }
}

TEST_CASE("numbers of a foreign packet that no picture can have are left out", "[imaging][xmp]") {
  const ScratchDir dir;
  const auto read_with = [&](const std::string& from, const std::string& to) {
    std::string packet = gpano_xmp(full_info());
    const auto at = packet.find(from);
    REQUIRE(at != std::string::npos);
    packet.replace(at, from.size(), to);
    std::filesystem::remove(dir / "p.jpg");
    REQUIRE(write_image(dir / "p.jpg", test::smooth_image(8, 4, Channels::rgb), {.xmp = packet}));
    const auto info = read_panorama_info(dir / "p.jpg");
    REQUIRE(info);
    REQUIRE(*info);
    return **info;
  };
  for (const char* wrong : {"1e300", "-1e300", "nan", "inf", "2147483648", "1e999", "wide", ""}) {
    CAPTURE(wrong);
    CHECK(read_with("8534", wrong).full_width_px == 0);
    CHECK(read_with("4267", "4267").full_height_px == 4267);
  }
  for (const char* wrong : {"nan", "-inf", "1e999"}) {
    CAPTURE(wrong);
    CHECK(read_with("359.250000", wrong).heading_deg == 0);
    CHECK_FALSE(read_with("-1.500000", wrong).pitch_deg);
  }
}

TEST_CASE("a packet that a JPEG cannot hold is refused", "[imaging][xmp]") {
  const ScratchDir dir;
  const auto written = write_image(dir / "p.jpg", test::smooth_image(8, 8, Channels::rgb),
                                   {.xmp = std::string(70'000, 'x')});
  REQUIRE_FALSE(written);
  CHECK(test::contains(written.error().what, "metadata"));
  CHECK(dir.entry_count() == 0);
}

}  // namespace
}  // namespace seamwright
