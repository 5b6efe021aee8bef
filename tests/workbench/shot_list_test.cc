#include "apps/workbench/shot_list.h"

#include <filesystem>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

#include "tests/support/scratch_dir.h"

using namespace seamwright;
using namespace seamwright::workbench;
using test::put_file;
using test::ScratchDir;

TEST_CASE("a folder's shots: shot files first, then frames that belong together") {
  const ScratchDir folder;
  for (const char* name :
       {"b_front.tif", "b_back.tif", "a_0.tif", "a_1.tif", "a_2.tif", "c.shot.yaml", "c_front.tif",
        "c_back.tif", "lone_front.tif", "gap_0.tif", "gap_2.tif", "notes.txt", "_front.tif"}) {
    put_file(folder / name, "");
  }
  const auto list = list_shots(folder.path());
  REQUIRE(list);
  const auto* const shots = &list->shots;
  REQUIRE(shots->size() == 3);
  CHECK((*shots)[0].name == "a");
  CHECK((*shots)[0].frames.size() == 3);
  CHECK((*shots)[1].name == "b");
  CHECK((*shots)[1].frames ==
        std::vector<std::filesystem::path>{folder / "b_front.tif", folder / "b_back.tif"});
  CHECK((*shots)[1].shot_file == folder / "b.shot.yaml");
  CHECK_FALSE((*shots)[1].has_file);
  CHECK((*shots)[2].name == "c");
  CHECK((*shots)[2].has_file);
  CHECK((*shots)[2].frames.empty());
  CHECK(list_shots(folder / "c.shot.yaml")->shots.size() == 1);
  // Shots that lack a lens are named; what has a shot file is not their business.
  REQUIRE(list->left_out.size() == 2);
  CHECK(list->left_out[0].line().find("gap_0.tif: lenses: the frame of lens 1") !=
        std::string::npos);
  CHECK(list->left_out[1].line().find("lone_front.tif") != std::string::npos);
}

TEST_CASE("what holds no shot is refused with a remedy") {
  const ScratchDir folder;
  put_file(folder / "notes.txt", "");
  for (const auto& place : {folder.path(), folder / "notes.txt", folder / "missing"}) {
    const auto shots = list_shots(place);
    REQUIRE_FALSE(shots);
    CHECK(shots.error().where == place.string());
    CHECK_FALSE(shots.error().remedy.empty());
  }
}
