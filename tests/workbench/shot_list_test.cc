#include "apps/workbench/shot_list.h"

#include <filesystem>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

#include "imaging/write_image.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;
using namespace seamwright::workbench;
using test::put_file;
using test::ScratchDir;

TEST_CASE("a folder's shots: shot files first, then frames that belong together") {
  const ScratchDir folder;
  const Image picture(8, 8, Channels::rgb, SampleType::u16);
  for (const char* name :
       {"b_front.tif", "b_back.tif", "a-0.tif", "a-1.tif", "c_front.tif", "c_back.tif",
        "lone_front.tif", "gap_1.tif", "many_0.tif", "many_1.tif", "many_2.tif", "_front.tif"}) {
    REQUIRE(write_image(folder / name, picture));
  }
  put_file(folder / "notes.txt", "");
  put_file(folder / "c.shot.yaml",
           "format: seamwright-shot\nversion: 1\nframes: [\"c_front.tif\", \"c_back.tif\"]\n"
           "layout: one-per-file\nlens_count: 2\nquarter_turns: []\nmirrored: false\n");
  const auto list = list_shots(folder.path(), 2);
  REQUIRE(list);
  const auto* const shots = &list->shots;
  REQUIRE(shots->size() == 3);
  CHECK((*shots)[0].name == "a");
  CHECK((*shots)[1].name == "b");
  CHECK((*shots)[1].files.frames ==
        std::vector<std::filesystem::path>{folder / "b_front.tif", folder / "b_back.tif"});
  CHECK((*shots)[1].shot_file == folder / "b.shot.yaml");
  CHECK((*shots)[1].files.shot_file.empty());
  CHECK((*shots)[2].name == "c");
  CHECK((*shots)[2].files.shot_file == folder / "c.shot.yaml");
  CHECK(list_shots(folder / "c.shot.yaml", 2)->shots.size() == 1);
  // Shots that lack a lens are named with the frame that is missing.
  std::string told;
  for (const Error& error : list->left_out) told += error.line() + "\n";
  INFO(told);
  CHECK(list->left_out.size() == 4);
  CHECK_THAT(told, Catch::Contains("gap_1.tif: lenses: gap_0.tif is missing beside it") &&
                       Catch::Contains("lone_front.tif: lenses: lone_back.tif is missing") &&
                       Catch::Contains("many_0.tif: lenses: the names tell 3 lenses") &&
                       Catch::Contains("_front.tif: EXIF: says no date"));
  std::filesystem::remove(folder / "c_back.tif");
  CHECK_THAT(list_shots(folder / "c.shot.yaml", 2).error().line(),
             Catch::Contains("c.shot.yaml") && Catch::Contains("c_back.tif is not there"));
}

TEST_CASE("what holds no shot is refused with a remedy") {
  const ScratchDir folder;
  put_file(folder / "notes.txt", "");
  for (const auto& place : {folder.path(), folder / "notes.txt", folder / "missing"}) {
    const auto shots = list_shots(place, 2);
    REQUIRE_FALSE(shots);
    CHECK(shots.error().where == place.string());
    CHECK_FALSE(shots.error().remedy.empty());
  }
}
