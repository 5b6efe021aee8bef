#include "compose/render/preview.h"

#include <cmath>
#include <cstdint>
#include <vector>

#include <catch2/catch.hpp>

#include "base/parallel.h"
#include "tests/support/random.h"
#include "tests/support/rigs.h"

using namespace seamwright;

namespace {

// A sphere of soft colours, 0…1.
std::array<double, 3> sphere_colour(const Vec3& direction) {
  return {0.5 + 0.3 * std::sin(3 * direction.x()), 0.5 + 0.3 * std::cos(2 * direction.y()),
          0.5 + 0.3 * std::sin(2 * direction.z() + direction.x())};
}

std::vector<Frame> frames_of_sphere(const Rig& rig) {
  std::vector<Frame> frames;
  for (const MountedLens& lens : rig.lenses) {
    Image image(lens.lens.width_px, lens.lens.height_px, Channels::rgb, SampleType::u16);
    for (int y = 0; y < image.height(); ++y) {
      const auto row = image.row<std::uint16_t>(y);
      for (int x = 0; x < image.width(); ++x) {
        const auto direction = lens.direction_in_rig({x + 0.5, y + 0.5});
        if (!direction) continue;
        const auto colour = sphere_colour(*direction);
        for (std::size_t c = 0; c < 3; ++c) {
          row[static_cast<std::size_t>(3 * x) + c] =
              static_cast<std::uint16_t>(std::lround(65535 * colour[c]));
        }
      }
    }
    frames.push_back({std::move(image), {.file = "frame.tif"}});
  }
  return frames;
}

Rig plain_rig(int size_px) {
  test::RigOptions options{.width_px = size_px, .height_px = size_px};
  options.vignetting = 0;
  return test::nominal_rig(options);
}

}  // namespace

TEST_CASE("a look shows what the sphere has there, across the seam and at the poles") {
  const Rig rig = plain_rig(800);
  const auto frames = frames_of_sphere(rig);
  const auto gains = unit_gains(2).gains;
  int checked = 0;
  for (const auto& [longitude_deg, latitude_deg] :
       {std::pair{0.0, 0.0}, {90.0, 10.0}, {-90.0, -60.0}, {180.0, 0.0}, {35.0, 90.0}}) {
    const Preview look{.middle = {rad_from_deg(longitude_deg), rad_from_deg(latitude_deg)},
                       .field_deg = 50,
                       .width_px = 96,
                       .height_px = 64};
    const auto picture = render_preview(rig, frames, gains, look);
    REQUIRE(picture);
    for (int y = 0; y < 64; y += 3) {
      for (int x = 0; x < 96; x += 3) {
        const auto colour = sphere_colour(look.direction({x + 0.5, y + 0.5}));
        for (std::size_t c = 0; c < 3; ++c) {
          const int code = picture->row<std::uint8_t>(y)[static_cast<std::size_t>(3 * x) + c];
          CAPTURE(longitude_deg, latitude_deg, x, y, c);
          REQUIRE(std::abs(code - 255 * colour[c]) < 1.5);
          ++checked;
        }
      }
    }
  }
  CHECK(checked == 5 * 22 * 32 * 3);
}

TEST_CASE("a look's middle is its place, its sides its field, its rows level") {
  const Preview look{.middle = {rad_from_deg(40), rad_from_deg(-20)},
                     .field_deg = 60,
                     .width_px = 300,
                     .height_px = 200};
  CHECK(angle_between(look.direction({150, 100}), look.middle.direction()) < 1e-12);
  CHECK(angle_between(look.direction({0, 100}), look.direction({300, 100})) ==
        Approx(rad_from_deg(60)));
  CHECK((look.direction({300, 100}) - look.direction({0, 100})).y() == Approx(0).margin(1e-12));
  CHECK(look.direction({150, 200}).y() > look.direction({150, 0}).y());
}

TEST_CASE("a look is the same bytes whatever the threads") {
  const Rig rig = plain_rig(200);
  const auto frames = frames_of_sphere(rig);
  const auto gains = unit_gains(2).gains;
  const Preview look{.middle = {rad_from_deg(88), 0}, .width_px = 120, .height_px = 90};
  std::vector<std::vector<std::byte>> pictures;
  for (const int threads : {1, 3}) {
    const ThreadLimit limit(threads);
    const auto picture = render_preview(rig, frames, gains, look);
    REQUIRE(picture);
    pictures.emplace_back(picture->bytes().begin(), picture->bytes().end());
  }
  CHECK(pictures[0] == pictures[1]);
}

TEST_CASE("looks that are none are refused") {
  CHECK_FALSE(Preview{}.validate());
  CHECK(Preview{.field_deg = 170}.validate());
  CHECK(Preview{.field_deg = std::nan("")}.validate());
  CHECK(Preview{.width_px = 8}.validate());
  CHECK(Preview{.height_px = 5000}.validate());
  CHECK(Preview{.middle = {4, 0}}.validate());
}
