// A template that knows its body's files, and shots that are opened with it.

#include "jobs/shot/body_files.h"

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "imaging/metadata.h"
#include "imaging/write_image.h"
#include "jobs/shot/open_shot.h"
#include "tests/support/rigs.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;
namespace fs = std::filesystem;

namespace {

struct NamedLenses {
  NamedLenses() {
    for (const std::string lens : {"front", "back"}) {
      for (const int step : {1, 2, 3}) {
        const Image picture(8, 8, Channels::rgb, SampleType::u8);
        FrameInfo info{.taken_at = fmt::format("2024:05:14 09:00:0{}", step),
                       .exposure_s = 0.01 * (1 << step)};
        info.lens_model = "fisheye " + lens;
        REQUIRE(write_image(frame(lens, step), picture, {.info = info}));
      }
    }
    Random random(5);
    body.solution.rig = random_rig(random);
    body.body = "Lantern";
    body.files = {.quarter_turns = {1, 3}, .exif_lenses = {"fisheye front", "fisheye back"}};
  }
  [[nodiscard]] fs::path frame(const std::string& lens, int step = 1) const {
    return dir / fmt::format("{}_{}.tif", lens, step);
  }
  [[nodiscard]] Result<Shot> open(ShotRequest request) const {
    const fs::path file = dir / "t.yaml";
    REQUIRE(write_template(file, body));
    return open_shot(request, {.template_file = file});
  }

  using Random = test::Random;
  static Rig random_rig(Random& random) { return test::random_rig(random, {.lens_count = 2}); }

  test::ScratchDir dir;
  RigTemplate body;
};

}  // namespace

TEST_CASE("frames are put in the order of the template's lenses by EXIF", "[shot]") {
  NamedLenses room;
  const auto swapped = room.open({.files = {room.frame("back"), room.frame("front")}});
  if (!swapped) FAIL(swapped.error().line());
  CHECK(swapped->files.frames == std::vector<fs::path>{room.frame("front"), room.frame("back")});
  CHECK(swapped->files.intake.quarter_turns == std::vector<int>{1, 3});
  // What is said of this shot comes first.
  const auto said =
      room.open({.files = {room.frame("front"), room.frame("back")}, .quarter_turns = {0, 2}});
  REQUIRE(said);
  CHECK(said->files.intake.quarter_turns == std::vector<int>{0, 2});

  // "back" comes before "front" by the alphabet of EXIF's other names.
  ShotRequest brackets{.files = {}, .several_exposures = true};
  for (const std::string lens : {"back", "front"}) {
    for (const int step : {1, 2, 3}) brackets.files.push_back(room.frame(lens, step));
  }
  room.body.files.exif_lenses = {"fisheye back", "fisheye front"};
  const auto merged = room.open(brackets);
  if (!merged) FAIL(merged.error().line());
  CHECK(merged->files.frames ==
        std::vector<fs::path>{room.frame("back", 2), room.frame("front", 2)});
  CHECK(merged->files.grouped->series.lenses[0].lens == "fisheye back");
  // Names that are not the template's say nothing.
  room.body.files.exif_lenses = {"a", "b"};
  const auto other = room.open({.files = {room.frame("back"), room.frame("front")}});
  REQUIRE(other);
  CHECK(other->files.frames.front() == room.frame("back"));
}

TEST_CASE("a lone file holds its lenses as the template says, or as somebody says of it",
          "[shot]") {
  NamedLenses room;
  room.body.files = {.layout = FrameLayout::stacked};
  const auto usual = room.open({.files = {room.frame("front")}});
  REQUIRE(usual);
  CHECK(usual->files.intake.layout == FrameLayout::stacked);
  CHECK(document_at(*usual, room.dir / "s.shot.yaml")->intake.layout == FrameLayout::stacked);
  const auto said =
      room.open({.files = {room.frame("front")}, .layout = FrameLayout::side_by_side});
  REQUIRE(said);
  CHECK(said->files.intake.layout == FrameLayout::side_by_side);
}

TEST_CASE("shots tell what a template is to know of their body", "[shot]") {
  const NamedLenses room;
  ShotFiles shot;
  shot.frames = {room.frame("front"), room.frame("back")};
  shot.intake.quarter_turns = {1, 1};
  ShotFiles other = shot;
  CHECK(body_files_of({shot, other}) ==
        BodyFiles{.quarter_turns = {1, 1}, .exif_lenses = {"fisheye front", "fisheye back"}});
  other.frames = {room.frame("back"), room.frame("front")};
  other.intake.quarter_turns = {};
  CHECK(body_files_of({shot, other}) == BodyFiles{});
  shot.frames = {room.frame("front")};
  shot.intake = {.layout = FrameLayout::side_by_side};
  CHECK(body_files_of({shot}) == BodyFiles{.layout = FrameLayout::side_by_side});
}

TEST_CASE("shots of one body tell its serial numbers, and whether frames carry others", "[shot]") {
  const test::ScratchDir dir;
  const auto put = [&](const std::string& name, const std::string& body, const std::string& lens) {
    FrameInfo info;
    if (!body.empty()) info.body_serial = body;
    if (!lens.empty()) info.lens_serial = lens;
    REQUIRE(write_image(dir / name, Image(8, 8, Channels::rgb, SampleType::u8), {.info = info}));
    return dir / name;
  };
  const auto shot = [&](const std::string& name, const std::string& body,
                        const std::string& back = "B1") {
    auto files = find_shot_files(
        {.files = {put(name + "_front.tif", body, "F1"), put(name + "_back.jpg", body, back)}}, 2);
    REQUIRE(files);
    return *files;
  };
  const BodyFiles told = body_files_of({shot("a", "0117"), shot("b", "0117")});
  CHECK(told.body_serial == "0117");
  CHECK(told.lens_serials == std::vector<std::string>{"F1", "B1"});
  CHECK(body_files_of({shot("a", "0117"), shot("c", "0218")}).body_serial.empty());
  CHECK(body_files_of({shot("a", "0117"), shot("d", "")}).body_serial.empty());
  CHECK(body_files_of({shot("a", "0117"), shot("e", "0117", "")}).lens_serials.empty());

  const auto frames_of = [](const ShotFiles& files) {
    std::vector<Frame> frames;
    for (const fs::path& file : files.frames) {
      const auto info = read_frame_info(file);
      REQUIRE(info);
      frames.push_back({Image(8, 8, Channels::rgb, SampleType::u8), *info});
    }
    return frames;
  };
  CHECK(other_serials(told, frames_of(shot("a", "0117"))).empty());
  CHECK(other_serials(told, frames_of(shot("d", ""))).empty());
  CHECK(other_serials({}, frames_of(shot("a", "0117"))).empty());
  CHECK_THAT(other_serials(told, frames_of(shot("c", "0218"))), Catch::Contains("body 0218"));
  CHECK_THAT(other_serials(told, frames_of(shot("f", "0117", "B2"))), Catch::Contains("lens B2"));

  RigTemplate body;
  body.body = "Lantern 0117";
  CHECK(has_serial(body, "0117"));
  CHECK_FALSE(has_serial(body, "117"));
  CHECK_FALSE(has_serial(body, ""));
  body.files.body_serial = "0218";
  CHECK_FALSE(has_serial(body, "0117"));
  CHECK(has_serial(body, "0218"));
}
