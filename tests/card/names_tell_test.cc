#include "jobs/card/names_tell.h"

#include <catch2/catch.hpp>

using namespace seamwright;

namespace {

std::vector<std::string> told(const NamesTold& names) {
  std::vector<std::string> lines;
  for (const NamedGroup& group : names.groups) {
    std::string line = group.name + ":";
    for (const auto& frame : group.frames) line += " " + frame.string();
    lines.push_back(line);
  }
  return lines;
}

using Lines = std::vector<std::string>;

}  // namespace

TEST_CASE("names with the lens at their end are shots, and say what is missing", "[card]") {
  const NamesTold names =
      shots_by_names({"c/hall_front.tif", "c/hall_back.tif", "c/stairs_0.tif", "c/stairs_1.tif",
                      "c/room_front.tif", "d/room_back.tif", "c/IMG.tif"},
                     2);
  CHECK(told(names) ==
        Lines{"hall: c/hall_front.tif c/hall_back.tif", "stairs: c/stairs_0.tif c/stairs_1.tif"});
  CHECK(names.notes ==
        std::vector<CardNote>{{"c/room_front.tif", "room_back.tif is missing beside it"},
                              {"d/room_back.tif", "room_front.tif is missing beside it"},
                              {"c/IMG.tif", "nothing tells which shot it is of"}});
}

TEST_CASE("a folder a lens, with files of the same names", "[card]") {
  const NamesTold names = shots_by_names({"c/front/P1.tif", "c/front/P3.tif", "c/back/P1.tif",
                                          "c/back/P3.tif", "d/lens0/P1.tif", "d/lens1/P1.tif"},
                                         2);
  CHECK(told(names) == Lines{"P1: c/front/P1.tif c/back/P1.tif", "P3: c/front/P3.tif c/back/P3.tif",
                             "P1: d/lens0/P1.tif d/lens1/P1.tif"});
  CHECK(names.notes.empty());
}

TEST_CASE("running numbers: each few in a row, and a gap begins anew", "[card]") {
  const NamesTold names = shots_by_names(
      {"c/L_0009.tif", "c/L_0010.tif", "c/L_0011.tif", "c/L_0012.tif", "c/L_0020.tif",
       "c/L_0021.tif", "c/L_0022.tif", "c/L_0040.tif", "c/M_0041.tif", "c/M_0042.tif"},
      2);
  CHECK(told(names) == Lines{"L_0009: c/L_0009.tif c/L_0010.tif",
                             "L_0011: c/L_0011.tif c/L_0012.tif",
                             "M_0041: c/M_0041.tif c/M_0042.tif"});
  CHECK(names.notes ==
        std::vector<CardNote>{
            {"c/L_0020.tif", "the 3 frames up to L_0022.tif are no whole shots of 2 lenses"},
            {"c/L_0040.tif", "nothing tells which shot it is of"}});
  CHECK(told(shots_by_names({"a/x.jpg", "a/y.jpg"}, 1)) == Lines{"x: a/x.jpg", "y: a/y.jpg"});
}
