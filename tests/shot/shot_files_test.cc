// Which files make a shot.

#include "jobs/shot/shot_files.h"

#include <filesystem>

#include <catch2/catch.hpp>

#include "base/file_guard.h"
#include "imaging/write_image.h"
#include "jobs/shot/shot_list.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;

namespace fs = std::filesystem;

namespace {

std::string refusal(const ShotRequest& request, int lens_count = 2) {
  const auto files = find_shot_files(request, lens_count);
  return files ? std::string() : files.error().line();
}

}  // namespace

TEST_CASE("frames are a shot where their number fits the body", "[shot]") {
  const auto two = find_shot_files({.files = {"r_front.tif", "r_back.tif"}}, 2);
  REQUIRE(two);
  CHECK(two->name == "r");
  CHECK(two->intake.layout == FrameLayout::one_per_file);
  CHECK_FALSE(two->bracketed());
  CHECK(two->all() == std::vector<fs::path>{"r_front.tif", "r_back.tif"});
  const auto one = find_shot_files({.files = {"both.tif"}, .mirrored = true}, 2);
  REQUIRE(one);
  CHECK(one->intake.layout == FrameLayout::side_by_side);
  CHECK(one->document.intake.mirrored);
  CHECK_THAT(refusal({.files = {"a", "b", "c"}}), Catch::Contains("3 files for a body of 2"));
  CHECK_THAT(refusal({.files = {"a", "b", "c", "d"}}), Catch::Contains("4 files"));
  CHECK_THAT(refusal({}), Catch::Contains("there are none"));
}

TEST_CASE("a shot file says all of a shot, once, and nothing lands on what it names", "[shot]") {
  const test::ScratchDir dir;
  fs::create_directories(dir / "card");
  for (const char* name : {"1_front", "2_front", "1_back", "2_back"}) {
    test::put_file(dir / "card" / (std::string(name) + ".tif"), name);
  }
  test::put_file(dir / "room.shot.yaml",
                 "format: seamwright-shot\nversion: 4\n"
                 "frames: [\"card/1_front.tif\", \"card/1_back.tif\"]\n"
                 "layout: one-per-file\nlens_count: 2\nquarter_turns: [1, 3]\nmirrored: true\n"
                 "brackets:\n"
                 "  - - {file: \"card/1_front.tif\"}\n    - {file: \"card/2_front.tif\"}\n"
                 "  - - {file: \"card/1_back.tif\"}\n    - {file: \"card/2_back.tif\"}\n");
  const fs::path file = dir / "room.shot.yaml";
  const FileGuard guard({});
  const auto shot = find_shot_files({.files = {file}}, 0);
  REQUIRE(shot);
  CHECK(shot->name == "room");
  CHECK(shot->bracketed());
  CHECK(shot->frames == std::vector<fs::path>{dir / "card/1_front.tif", dir / "card/1_back.tif"});
  CHECK(shot->pictures().size() == 4);
  CHECK(shot->all().back() == file);
  CHECK(shot->intake.mirrored);
  CHECK(shot->intake.quarter_turns == std::vector<int>{1, 3});
  int guarded = 0;
  for (const fs::path& one : shot->pictures()) {
    const auto refused = refusal_to_write(one);
    REQUIRE(refused);
    CHECK_THAT(refused->line(), Catch::Contains("is one of the files that this is made from"));
    ++guarded;
  }
  CHECK(guarded == 4);
  CHECK_THAT(refusal({.files = {file}, .layout = FrameLayout::stacked}),
             Catch::Contains("room.shot.yaml") && Catch::Contains("by the shot file"));

  const auto listed = list_shots({dir.path()}, {}, 2);
  REQUIRE(listed);
  REQUIRE(listed->size() == 1);
  CHECK(listed->front().name == "room.shot.yaml");
  CHECK(listed->front().stem() == "room");
  CHECK(listed->front().files.pictures() == shot->pictures());
}

TEST_CASE("frames of one name in two folders are not one shot", "[shot]") {
  const test::ScratchDir dir;
  const auto put = [&](const std::string& name) {
    fs::create_directories((dir / name).parent_path());
    REQUIRE(write_image(dir / name, Image(8, 8, Channels::rgb, SampleType::u16)));
  };
  put("a/room_front.tif");
  put("b/room_back.tif");
  const auto apart = list_shots({dir / "a", dir / "b"}, {}, 2);
  REQUIRE(apart);
  REQUIRE(apart->size() == 2);
  for (const ListedShot& shot : *apart) {
    REQUIRE(shot.failure);
    CHECK_THAT(shot.failure->line(), Catch::Contains("is missing beside it"));
  }
  // Two rooms of one name, each whole.
  put("a/room_back.tif");
  put("b/room_front.tif");
  const auto rooms = list_shots({dir / "a", dir / "b"}, {}, 2);
  REQUIRE(rooms);
  REQUIRE(rooms->size() == 2);
  for (const ListedShot& shot : *rooms) {
    CHECK_FALSE(shot.failure);
    REQUIRE(shot.files.frames.size() == 2);
    CHECK(shot.files.frames[0].parent_path() == shot.files.frames[1].parent_path());
  }
}
