#include "compose/finish/floor_view.h"

#include <catch2/catch.hpp>

#include "tests/finish/sphere_pictures.h"
#include "tests/imaging/pictures.h"

namespace seamwright {
namespace {

using test::panorama_of;
using test::psnr_db;
using test::Random;
using test::seed;

bool in_patch(const Vec2& px, int size) {
  return std::hypot(px.x() - 0.55 * size, px.y() - 0.45 * size) < 0.2 * size;
}

TEST_CASE("a flat view maps both ways", "[finish][floor]") {
  const FlatView view = FlatView::down(100, 200);
  CHECK((view.direction({100, 100}) - Vec3::UnitY()).norm() < 1e-12);
  // The top edge looks ahead, the right edge right.
  CHECK(view.direction({100, 0}).z() > 0.7);
  CHECK(view.direction({200, 100}).x() > 0.7);
  CHECK(deg_from_rad(angle_between(view.direction({0, 100}), Vec3::UnitY())) == Approx(50));
  for (double u = 0.5; u < 200; u += 13.3) {
    const auto back = view.position(view.direction({u, 200 - u / 2}));
    REQUIRE(back);
    CHECK((*back - Vec2(u, 200 - u / 2)).norm() < 1e-9);
  }
  CHECK_FALSE(view.position(-Vec3::UnitY()));
}

TEST_CASE("the floor view shows the panorama's floor", "[finish][floor]") {
  const test::Codes scene = test::waves(16);
  const auto floor = floor_view(panorama_of(512, scene), 90);
  REQUIRE(floor);
  CHECK(floor->width() == native_view_size(512, 90));
  const FlatView view = FlatView::down(90, floor->width());
  Image expected(floor->width(), floor->width(), Channels::rgb, SampleType::u16);
  for (int y = 0; y < expected.height(); ++y) {
    const auto row = expected.row<std::uint16_t>(y);
    for (int x = 0; x < expected.width(); ++x) {
      for (int c = 0; c < 3; ++c) {
        row[static_cast<std::size_t>(3 * x + c)] = static_cast<std::uint16_t>(
            std::lround(65535 * scene(view.direction({x + 0.5, y + 0.5}), c)));
      }
    }
  }
  CHECK(psnr_db(*floor, expected, [](int, int) { return true; }) > 60);
}

// What was retouched comes back as it was painted, what was not keeps its
// bytes. The paint is another scene, seen as the view sees it.
TEST_CASE("an edited floor view comes back, and nothing else changes", "[finish][floor]") {
  const Image before = panorama_of(768, test::waves(30));
  const Image other = panorama_of(768, test::waves(41));
  auto edited = floor_view(before);
  const auto paint = floor_view(other);
  REQUIRE((edited && paint));
  const int size = edited->width();
  for (int y = 0; y < size; ++y) {
    for (int x = 0; x < size; ++x) {
      if (!in_patch({x + 0.5, y + 0.5}, size)) continue;
      const auto at = static_cast<std::size_t>(3 * x);
      std::copy_n(&paint->row<std::uint16_t>(y)[at], 3, &edited->row<std::uint16_t>(y)[at]);
    }
  }
  Image after = before;
  const auto report = put_floor_back(after, *edited);
  REQUIRE(report);
  CHECK(report->edited_px > size * size / 10);
  CHECK_FALSE(report->everything_edited);

  const FlatView view = FlatView::down(kFloorField_deg, size);
  const Equirect raster{768, 384};
  const auto place = [&](int x, int y) {
    return view.position(raster.direction({x + 0.5, y + 0.5}));
  };
  int outside = 0;
  int touched_outside = 0;
  for (int y = 0; y < 384; ++y) {
    for (int x = 0; x < 768; ++x) {
      const auto px = place(x, y);
      if (px && in_patch(px->array().floor().matrix() + Vec2(0.5, 0.5), size)) continue;
      ++outside;
      const auto at = static_cast<std::size_t>(3 * x);
      touched_outside +=
          std::equal(&after.row<std::uint16_t>(y)[at], &after.row<std::uint16_t>(y)[at] + 3,
                     &before.row<std::uint16_t>(y)[at])
              ? 0
              : 1;
    }
  }
  CHECK(outside > 200000);
  CHECK(touched_outside == 0);

  // Four pixels inside the edge: there the kernels reach paint only. (On the hard edge itself a
  // step is resampled: with it the view comes back to 42 dB.)
  const auto well_inside = [&](const std::optional<Vec2>& px) {
    return px && std::hypot(px->x() - 0.55 * size, px->y() - 0.45 * size) < 0.2 * size - 4;
  };
  const double in_panorama =
      psnr_db(after, other, [&](int x, int y) { return well_inside(place(x, y)); });
  const auto seen = floor_view(after);
  REQUIRE(seen);
  const double in_view =
      psnr_db(*seen, *edited, [&](int x, int y) { return well_inside(Vec2(x + 0.5, y + 0.5)); });
  CAPTURE(in_panorama, in_view);
  CHECK(in_panorama >= 50);
  CHECK(in_view >= 50);
}

TEST_CASE("an unedited floor view changes nothing", "[finish][floor]") {
  CAPTURE(seed());
  Random random(31);
  for (const SampleType type : test::kAllTypes) {
    const Image before = test::random_image(random, 128, 64, Channels::rgb, type);
    const auto floor = floor_view(before);
    REQUIRE(floor);
    Image after = before;
    const auto report = put_floor_back(after, *floor);
    REQUIRE(report);
    CHECK(report->edited_px == 0);
    CHECK(report->changed_px == 0);
    CHECK(test::same_picture(before, after));
  }
}

TEST_CASE("views that do not fit are refused and leave the panorama alone", "[finish][floor]") {
  const Image before = panorama_of(128, test::waves(5));
  Image after = before;
  const auto refused = [&](const Image& edited, const std::string& needle) {
    const auto report = put_floor_back(after, edited);
    REQUIRE_FALSE(report);
    CAPTURE(report.error().line());
    CHECK(report.error().line().find(needle) != std::string::npos);
    CHECK(test::same_picture(before, after));
  };
  const auto floor = floor_view(before);
  REQUIRE(floor);
  refused(Image(20, 20, Channels::rgb, SampleType::u16), "is 20 x 20 px");
  refused(Image(floor->width(), floor->width(), Channels::rgb, SampleType::u8), "bit depth");
  refused(Image(floor->width(), floor->width(), Channels::rgba, SampleType::u16), "channels");
  Image profiled = *floor;
  profiled.icc_profile.assign(200, std::byte{1});
  refused(profiled, "colour profile");
  CHECK_FALSE(floor_view(before, 10));
  CHECK_FALSE(floor_view(before, 175));
  CHECK_FALSE(floor_view(Image(128, 100, Channels::rgb, SampleType::u16)));
  Image negative = *floor;
  for (int y = 0; y < negative.height(); ++y) {
    for (auto& sample : negative.row<std::uint16_t>(y))
      sample = static_cast<std::uint16_t>(~sample);
  }
  const auto all = put_floor_back(after, negative);
  REQUIRE(all);
  CHECK(all->everything_edited);
}

}  // namespace
}  // namespace seamwright
