#include <catch2/catch.hpp>

#include "imaging/metadata.h"
#include "imaging/read_image.h"
#include "imaging/write_image.h"
#include "tests/cli/run.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;
using test::run;

namespace {

/// Two stands of the demo and the body's true template.
struct Rooms {
  test::ScratchDir dir;
  std::string frames;
  std::string body;

  Rooms() : frames((dir / "frames").string()) {
    const auto made = run({"demo", dir.path().string(), "--frame", "500", "--no-panoramas",
                           "--shots", "library_1", "hall_1"});
    REQUIRE(made.exit_code == 0);
    body = (dir / "truth" / "body.template.yaml").string();
  }
};

}  // namespace

TEST_CASE("check ranks a folder of shots, in words, as JSON and as a page") {
  if (test::program().empty()) return;
  const Rooms rooms;
  const auto fine = run({"check", "--template", rooms.body, rooms.frames, "--json"});
  INFO(fine.err);
  REQUIRE(fine.exit_code == 0);
  REQUIRE(fine.json().at("shots").size() == 2);
  CHECK(fine.json().at("shots")[0].at("score_px") == 0);
  CHECK(fine.json().at("shots")[0].at("ring").at("readable") == true);

  // The hall's back frame is the library's: it comes first, the library is still fine.
  const auto other = read_image(rooms.frames + "/library_1_back.tif");
  const auto info = read_frame_info(rooms.frames + "/hall_1_back.tif");
  REQUIRE((other && info));
  REQUIRE(write_image(rooms.frames + "/hall_1_back.tif", *other, {.info = *info}));
  const std::string page = (rooms.dir / "check.html").string();
  const auto bad = run({"check", "--template", rooms.body, rooms.frames, "--page", page, "--json"});
  INFO(bad.err);
  REQUIRE(bad.exit_code == 2);
  const auto shots = bad.json().at("shots");
  REQUIRE(shots.size() == 2);
  CHECK(shots[0].at("name") == "hall_1");
  CHECK(shots[0].at("score_px") == 100);
  CHECK(shots[0].at("findings")[0].at("kind") == "unreadable");
  CHECK(shots[1].at("findings").empty());
  CHECK_THAT(bad.err, Catch::Contains("hall_1") && Catch::Contains("unreadable"));
  const std::string html = test::get_file(page);
  CHECK_THAT(html, Catch::Contains("1 of 2 shots") && !Catch::Contains("<script"));
  CHECK_THAT(html, Catch::Contains("<div class=\"summary") && Catch::Contains(".summary {"));
  // The same findings give the same page.
  REQUIRE(run({"check", "--template", rooms.body, rooms.frames, "--page", page}).exit_code == 2);
  CHECK(test::get_file(page) == html);
  CHECK_THAT(run({"check", "--template", rooms.body, rooms.frames, "--page",
                  rooms.frames + "/hall_1_front.tif"})
                 .err,
             Catch::Contains("files that this is made from"));
}

TEST_CASE("check takes shot files and panoramas, and goes on past what cannot be read") {
  if (test::program().empty()) return;
  const test::ScratchDir dir;
  const test::SmallShot shot(dir.path(), 300);
  const std::string out = (dir / "room.tif").string();
  REQUIRE(run(shot.stitch(out)).exit_code != 1);
  shot.write_shot("room.shot.yaml", TemplateReference{"T.template.yaml", std::nullopt});
  const auto checked = run({"check", shot.at("room.shot.yaml"), out, "--json"});
  INFO(checked.err);
  REQUIRE((checked.exit_code == 0 || checked.exit_code == 2));
  const nlohmann::json shots = checked.json().at("shots");
  REQUIRE(shots.size() == 2);
  for (const auto& one : shots) {
    CHECK((one.at("name") == "room.shot.yaml") == one.contains("ring"));
    CHECK_FALSE(one.contains("failure"));
  }
  // Half a frame: said, and the panorama is checked nevertheless.
  const std::string bytes = test::get_file(shot.back());
  test::put_file(shot.back(), bytes.substr(0, bytes.size() / 2));
  const auto torn = run({"check", shot.at("room.shot.yaml"), out, "--json"});
  CHECK(torn.exit_code == 2);
  CHECK(torn.json().at("shots").size() == 2);
  CHECK_THAT(torn.json().at("shots")[0].at("failure").get<std::string>(),
             Catch::Contains("back.tif"));
  test::check_refused(run({"check", (dir / "nowhere").string()}), "nowhere");
}

TEST_CASE("frames that say nothing are checked in the order of the lenses, as stitch takes them") {
  if (test::program().empty()) return;
  const test::ScratchDir dir;
  const test::SmallShot shot(dir.path(), 320);
  for (const auto& [from, to] : {std::pair(shot.front(), "x.png"), {shot.back(), "y.png"}}) {
    REQUIRE(write_image(dir / to, *read_image(from)));
  }
  const auto checked = run(
      {"check", "--template", shot.template_file(), shot.at("x.png"), shot.at("y.png"), "--json"});
  INFO(checked.err);
  REQUIRE(checked.exit_code != 1);
  CHECK(checked.json().at("shots").size() == 1);
  // One of two is no shot.
  test::check_refused(run({"check", "--template", shot.template_file(), shot.at("x.png")}), "EXIF");
}
