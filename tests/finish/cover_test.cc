#include "compose/finish/cover.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

#include "base/parallel.h"
#include "compose/finish/cover_stand.h"
#include "imaging/transfer.h"
#include "tests/finish/sphere_pictures.h"
#include "tests/imaging/pictures.h"

namespace seamwright {
namespace {

using test::panorama_of;
using test::psnr_db;

double off_down_deg(const Vec3& d) { return deg_from_rad(angle_between(d, Vec3::UnitY())); }

// A floor of boards 1.5 m below, lit from one side, with a black stand of `stand_deg` on it.
test::Codes boards(double stand_deg) {
  return [stand_deg](const Vec3& d, int colour) {
    if (off_down_deg(d) < stand_deg) return 0.02;
    if (d.y() < 0.2) return 0.7;
    const double x = 1.5 * d.x() / d.y();
    const double z = 1.5 * d.z() / d.y();
    const double joint = std::pow(0.5 + 0.5 * std::cos(2 * kPi * x / 0.25), 12);
    const double light = 0.5 + 0.04 * z + 0.02 * x;
    return std::clamp(light * (1 - 0.5 * joint) + 0.03 * colour, 0.0, 1.0);
  };
}

Image band_of_rows(const Image& image, double from_deg, double to_deg) {
  const int top = static_cast<int>((90 + from_deg) / 180 * image.height());
  const int rows = static_cast<int>((to_deg - from_deg) / 180 * image.height());
  Image out(image.width(), rows, image.channels(), image.type());
  std::copy_n(image.bytes().begin() + static_cast<std::ptrdiff_t>(image.row_bytes()) * top,
              out.bytes().size(), out.bytes().begin());
  return out;
}

TEST_CASE("a stand on boards is covered by boards", "[finish][cover]") {
  const Image with_stand = panorama_of(768, boards(15));
  const Image empty_floor = panorama_of(768, boards(0));
  Image covered = with_stand;
  REQUIRE(cover_by_filling(covered, 18));
  const Equirect raster{768, 384};
  const auto off = [&](int x, int y) { return off_down_deg(raster.direction({x + 0.5, y + 0.5})); };
  // Untouched outside, to the byte.
  const int first = static_cast<int>((180 - 18.0) / 180 * 384);
  CHECK(test::same_picture(band_of_rows(with_stand, -90, 90.0 * (first - 1) / 192 - 90),
                           band_of_rows(covered, -90, 90.0 * (first - 1) / 192 - 90)));
  const auto in_hole = [&](int x, int y) { return off(x, y) < 18; };
  const double before = psnr_db(with_stand, empty_floor, in_hole);
  const double after = psnr_db(covered, empty_floor, in_hole);
  CAPTURE(before, after);
  CHECK(before < 10);
  // Boards go on where they are; the slope of the light goes on as well.
  CHECK(after > 25);
  Image again = with_stand;
  const ThreadLimit one(1);
  REQUIRE(cover_by_filling(again, 18));
  CHECK(test::same_picture(covered, again));
}

// Tiles of 0.3 m in two greys on a floor 1.5 m below, and joints between them.
double tiles(const Vec3& d, int /*colour*/) {
  if (d.y() < 0.2) return 0.7;
  const double x = 1.5 * d.x() / d.y() / 0.3 + 0.13;
  const double z = 1.5 * d.z() / d.y() / 0.3 + 0.37;
  const double in_x = x - std::floor(x);
  const double in_z = z - std::floor(z);
  if (std::min(in_x, in_z) < 0.08) return 0.2;
  return (static_cast<int>(std::floor(x)) + static_cast<int>(std::floor(z))) % 2 == 0 ? 0.4 : 0.6;
}

// Spots that nothing foretells, about 0.1 m wide.
double spots(const Vec3& d, int colour) {
  if (d.y() < 0.2) return 0.7;
  const auto x = static_cast<std::uint64_t>(std::floor(15 * d.x() / d.y()) + 1000);
  const auto z = static_cast<std::uint64_t>(std::floor(15 * d.z() / d.y()) + 1000);
  std::uint64_t mixed = (x * 73856093U) ^ (z * 19349663U) ^ static_cast<std::uint64_t>(colour + 7);
  mixed = (mixed ^ (mixed >> 7U)) * 0x9E3779B97F4A7C15U;
  return 0.2 + 0.6 * static_cast<double>(mixed >> 40U) / static_cast<double>(1U << 24U);
}

TEST_CASE("tiles go on under a stand, and a filling that only guesses says so", "[finish][cover]") {
  const Image floor = panorama_of(1024, tiles);
  Image covered = floor;
  const auto filling = cover_by_filling(covered, 14);
  REQUIRE(filling);
  CHECK(filling->kind == FillingKind::shifts);
  const Equirect raster{1024, 512};
  const double after = psnr_db(floor, covered, [&](int x, int y) {
    return off_down_deg(raster.direction({x + 0.5, y + 0.5})) < 14;
  });
  REQUIRE(filling->expected_db());
  CAPTURE(after, *filling->expected_db());
  CHECK(after > 24);
  std::vector<std::string> findings;
  covered = floor;
  REQUIRE(cover_stand({.cover_deg = 14, .plate = {}}, covered, findings));
  CHECK(findings.empty());

  Image guessed = panorama_of(1024, spots);
  REQUIRE(cover_stand({.cover_deg = 14, .plate = {}}, guessed, findings));
  REQUIRE(findings.size() == 1);
  CHECK_THAT(findings.front(), Catch::Contains("latitude -90"));
}

TEST_CASE("covers out of range are refused", "[finish][cover]") {
  Image panorama = panorama_of(128, boards(15));
  const Image before = panorama;
  for (const double radius_deg : {-1.0, 0.5, 60.0, std::nan("")}) {
    CHECK_FALSE(cover_by_filling(panorama, radius_deg));
  }
  CHECK(test::same_picture(before, panorama));
}

Image plate_of(int size, Channels channels) {
  Image plate(size, size, channels, SampleType::u8);
  const auto step = static_cast<std::size_t>(plate.channel_count());
  for (int y = 0; y < size; ++y) {
    const auto row = plate.row<std::uint8_t>(y);
    for (std::size_t x = 0; x < static_cast<std::size_t>(size); ++x) {
      row[x * step] = y < size / 2 ? 200 : 40;  // top and bottom halves tell up
      row[x * step + 1] = 90;
      row[x * step + 2] = 60;
      if (step == 4) row[x * step + 3] = x < static_cast<std::size_t>(size) / 2 ? 255 : 0;
    }
  }
  return plate;
}

TEST_CASE("a plate covers its circle, the right way up", "[finish][cover]") {
  const Image before = panorama_of(768, boards(15));
  Image covered = before;
  const auto report = cover_by_plate(covered, plate_of(300, Channels::rgb), 20);
  REQUIRE(report);
  CHECK_FALSE(report->too_coarse);
  const Equirect raster{768, 384};
  const double rim_deg = 0.75 * 360.0 / 768;  // half a pixel smoothed, and rounding
  int inside = 0;
  for (int y = 0; y < 384; ++y) {
    for (int x = 0; x < 768; ++x) {
      const Vec3 d = raster.direction({x + 0.5, y + 0.5});
      const auto at = static_cast<std::size_t>(3 * x);
      const auto* pixel = &covered.row<std::uint16_t>(y)[at];
      if (off_down_deg(d) > 20 + rim_deg) {
        if (!std::equal(pixel, pixel + 3, &before.row<std::uint16_t>(y)[at])) FAIL("outside");
      } else if (off_down_deg(d) < 20 - rim_deg && std::abs(d.z()) > 0.03) {
        ++inside;
        // The top of the plate lies ahead.
        const int expected = 257 * (d.z() > 0 ? 200 : 40);
        if (std::abs(pixel[0] - expected) > 260) FAIL("inside: " << pixel[0]);
      }
    }
  }
  CHECK(inside > 20000);
}

TEST_CASE("a plate's alpha lets the floor through, mixed in light", "[finish][cover]") {
  const Image before = panorama_of(256, [](const Vec3&, int) { return 0.5; });
  Image covered = before;
  REQUIRE(cover_by_plate(covered, plate_of(200, Channels::rgba), 30));
  const int y = 120;  // 5.6 degrees off straight down
  const auto at = [&](double longitude_deg) {
    return covered.row<std::uint16_t>(
        y)[static_cast<std::size_t>(3 * static_cast<int>((longitude_deg / 360 + 0.5) * 256))];
  };
  CHECK(at(90) == before.row<std::uint16_t>(y)[0]);  // right: transparent
  CHECK(std::abs(at(-45) - 257 * 200) < 260);
  // A half transparent plate: the mean of both lights (IEC 61966-2-1).
  Image half = plate_of(200, Channels::rgba);
  for (int row = 0; row < 200; ++row) {
    for (std::size_t x = 0; x < 200; ++x) half.row<std::uint8_t>(row)[4 * x + 3] = 128;
  }
  Image mixed = before;
  REQUIRE(cover_by_plate(mixed, half, 30));
  const double share = 128.0 / 255;
  const double light = share * srgb_to_linear(200.0 / 255) + (1 - share) * srgb_to_linear(0.5);
  CHECK(mixed.row<std::uint16_t>(y)[3 * 128] == Approx(65535 * linear_to_srgb(light)).margin(40));
}

TEST_CASE("plates that do not fit are refused", "[finish][cover]") {
  Image panorama = panorama_of(128, boards(15));
  const Image before = panorama;
  const auto oblong = cover_by_plate(panorama, Image(300, 200, Channels::rgb, SampleType::u8), 20);
  REQUIRE_FALSE(oblong);
  CHECK(oblong.error().line().find("300 x 200 px, not square") != std::string::npos);
  CHECK_FALSE(cover_by_plate(panorama, Image(8, 8, Channels::rgb, SampleType::u8), 20));
  Image broken = plate_of(64, Channels::rgb);
  broken.icc_profile.assign(100, std::byte{7});
  CHECK_FALSE(cover_by_plate(panorama, broken, 20));
  CHECK(test::same_picture(before, panorama));
  const auto small = cover_by_plate(panorama, plate_of(16, Channels::rgb), 45);
  REQUIRE(small);
  CHECK(small->too_coarse);
}

}  // namespace
}  // namespace seamwright
