#include <array>
#include <cmath>
#include <vector>

#include <catch2/catch.hpp>

#include "imaging/icc.h"
#include "imaging/metadata.h"
#include "imaging/raw_reader.h"
#include "tests/imaging/dng.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;

namespace {

constexpr int kPatch_px = 32;
using Colour = std::array<double, 3>;  // camera signal, 0…1 between black and white

// One row of even patches.
void write_dng(const std::filesystem::path& path, const std::vector<Colour>& patches) {
  test::write_dng(path, kPatch_px * static_cast<int>(patches.size()), kPatch_px,
                  [&](int x, int, std::size_t channel) {
                    return patches[static_cast<std::size_t>(x / kPatch_px)][channel];
                  });
}

Colour middle_of_patch(const Image& image, int patch) {
  const auto row = image.row<std::uint16_t>(image.height() / 2);
  const auto at = static_cast<std::size_t>(3 * (patch * kPatch_px + kPatch_px / 2));
  return {row[at] / 65535.0, row[at + 1] / 65535.0, row[at + 2] / 65535.0};
}

Colour seen(const Colour& balanced) {
  Colour raw;
  for (std::size_t c = 0; c < 3; ++c)
    raw[c] = balanced[c] * static_cast<double>(test::kDngNeutral[c]);
  return raw;
}

}  // namespace

TEST_CASE("A raw frame becomes linear light of known values") {
  const test::ScratchDir dir;
  // Of balanced colours: greys 14 stops apart at most, and three colours.
  const std::vector<Colour> light = {{0.5, 0.5, 0.5}, {0.05, 0.05, 0.05}, {0.002, 0.002, 0.002},
                                     {0.6, 0.2, 0.1}, {0.1, 0.5, 0.2},    {0.05, 0.1, 0.6}};
  std::vector<Colour> patches;
  for (const Colour& colour : light) patches.push_back(seen(colour));
  write_dng(dir / "frame.dng", patches);

  const auto camera = read_camera_picture(dir / "frame.dng");
  REQUIRE(camera);
  CHECK(camera->image.width() == kPatch_px * 6);
  CHECK(camera->image.transfer == Transfer::linear);
  int compared = 0;
  for (int i = 0; i < 6; ++i) {
    const Colour found = middle_of_patch(camera->image, i);
    for (std::size_t c = 0; c < 3; ++c) {
      CAPTURE(i, c, found[c]);
      // Half a raw step, times the balance's gain of 2.
      CHECK(found[c] == Approx(light[static_cast<std::size_t>(i)][c]).margin(1.5 / 15360));
      ++compared;
    }
  }
  CHECK(compared == 18);

  // The working space: Rec. ITU-R BT.2087-0 prints this matrix for BT.709 in BT.2020.
  const Colour red = {0.6, 0.2, 0.1};
  const auto wide = read_image(dir / "frame.dng");
  REQUIRE(wide);
  const Colour found = middle_of_patch(*wide, 3);
  CHECK(found[0] == Approx(0.6274 * red[0] + 0.3293 * red[1] + 0.0433 * red[2]).margin(5e-4));
  CHECK(found[1] == Approx(0.0691 * red[0] + 0.9195 * red[1] + 0.0114 * red[2]).margin(5e-4));
  CHECK(found[2] == Approx(0.0164 * red[0] + 0.0880 * red[1] + 0.8956 * red[2]).margin(5e-4));
  CHECK_FALSE(wide->icc_profile.empty());
  const auto tones = tone_functions(wide->icc_profile, true, "wide");
  REQUIRE(tones);
  CHECK((*tones)[1](0.25) == Approx(0.25));
}

TEST_CASE("Clipped raw pixels are white in every channel") {
  const test::ScratchDir dir;
  // The second: a lamp that overfills all three photosites.
  write_dng(dir / "lamp.dng", {seen({0.3, 0.3, 0.3}), {4, 4, 4}});
  const auto camera = read_camera_picture(dir / "lamp.dng");
  REQUIRE(camera);
  for (const double channel : middle_of_patch(camera->image, 1)) CHECK(channel > 0.999);
  const auto wide = read_image(dir / "lamp.dng");
  REQUIRE(wide);
  for (const double channel : middle_of_patch(*wide, 1)) CHECK(channel > 0.999);
}

TEST_CASE("A raw frame's header and EXIF are read, a broken one is refused") {
  const test::ScratchDir dir;
  write_dng(dir / "frame.dng", {seen({0.3, 0.3, 0.3}), seen({0.2, 0.2, 0.2})});
  const auto header = read_image_header(dir / "frame.dng");
  REQUIRE(header);
  CHECK(header->format == "raw");
  CHECK(header->width == 2 * kPatch_px);
  CHECK(header->height == kPatch_px);
  const auto info = read_frame_info(dir / "frame.dng");
  REQUIRE(info);
  CHECK(info->body_model == "Lantern Two");

  std::string bytes = test::get_file(dir / "frame.dng");
  bytes.resize(bytes.size() / 3);
  test::put_file(dir / "cut.dng", bytes);
  CHECK_FALSE(read_image(dir / "cut.dng"));
  test::put_file(dir / "words.dng", "this is no picture at all");
  CHECK_FALSE(read_image(dir / "words.dng"));
}
