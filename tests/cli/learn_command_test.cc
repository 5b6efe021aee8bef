#include <cmath>
#include <filesystem>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "base/file.h"
#include "imaging/metadata.h"
#include "imaging/write_image.h"
#include "templates/rig_template.h"
#include "tests/cli/run.h"
#include "tests/support/random.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;
using test::check_refused;
using test::run;
using test::ScratchDir;
using test::SmallShot;

TEST_CASE("learn refuses what it cannot learn from, and leaves nothing") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  const std::string out = shot.at("new.template.yaml");
  const auto learn = [&](std::vector<std::string> arguments) {
    arguments.insert(arguments.begin(), {"learn", "--out", out});
    return run(arguments);
  };
  SECTION("missing frame") {
    check_refused(learn({"--shot", shot.front(), shot.at("no.tif")}), "no.tif");
  }
  SECTION("truncated frame") {
    const std::string bytes = test::get_file(shot.back());
    test::put_file(shot.back(), bytes.substr(0, bytes.size() / 3));
    check_refused(learn({"--shot", shot.front(), shot.back()}), "back.tif");
  }
  SECTION("two identical frames") {
    std::filesystem::copy_file(shot.front(), shot.back(),
                               std::filesystem::copy_options::overwrite_existing);
    check_refused(learn({"--shot", shot.front(), shot.back()}), "same picture");
  }
  SECTION("lens cap on: nothing but noise") {
    test::Random random(81);
    for (const auto& file : {shot.front(), shot.back()}) {
      Image dark(160, 160, Channels::rgb, SampleType::u16);
      for (int y = 0; y < 160; ++y) {
        for (auto& sample : dark.row<std::uint16_t>(y)) {
          sample = static_cast<std::uint16_t>(random.integer(0, 300));
        }
      }
      REQUIRE(write_image(file, dark));
    }
    check_refused(learn({"--shot", shot.front(), shot.back()}), "");
  }
  SECTION("a shot of three frames") {
    check_refused(learn({"--shot", shot.front(), shot.back(), shot.front()}), "3 files");
  }
  SECTION("shots of different size") {
    for (const std::string name : {"a.tif", "b.tif"}) {
      Image other(170, 170, Channels::rgb, SampleType::u16);
      other.row<std::uint16_t>(name == "a.tif" ? 80 : 90)[200] = 9000;
      REQUIRE(write_image(shot.at(name), other));
    }
    check_refused(learn({"--shot", shot.front(), shot.back(), "--shot", shot.at("a.tif"),
                         shot.at("b.tif"), "--from", shot.template_file()}),
                  "170");
    std::filesystem::remove(shot.at("a.tif"));
    std::filesystem::remove(shot.at("b.tif"));
  }
  SECTION("a template to start from that is missing") {
    check_refused(learn({"--shot", shot.front(), shot.back(), "--from", shot.at("no.yaml")}),
                  "no.yaml");
  }
  SECTION("unknown nominal geometry") {
    check_refused(learn({"--shot", shot.front(), shot.back(), "--lenses", "nine-in-a-row"}),
                  "--lenses");
  }
  SECTION("a baseline that is none") {
    check_refused(learn({"--shot", shot.front(), shot.back(), "--baseline-mm", "-3"}),
                  "--baseline-mm");
    check_refused(learn({"--shot", shot.front(), shot.back(), "--baseline-mm", "nan"}),
                  "--baseline-mm");
  }
  SECTION("a stand's height that is none") {
    check_refused(learn({"--shot", shot.front(), shot.back(), "--stand-height", "-1"}),
                  "--stand-height");
  }
  SECTION("an output that cannot be written, before any work") {
    check_refused(run({"learn", "--shot", shot.front(), shot.back(), "--out", "/proc/t.yaml"}),
                  "/proc");
  }
  SECTION("a report folder that cannot be made, before any work") {
    check_refused(learn({"--shot", shot.front(), shot.back(), "--report", "/proc/report"}),
                  "/proc/report");
    check_refused(learn({"--shot", shot.front(), shot.back(), "--report", shot.front()}), "front");
  }
  CHECK(scratch.entry_count() == 4);
}

// Sanitized, a whole learn run takes minutes; its parts are sanitized in their own tests.
#ifndef __SANITIZE_ADDRESS__
TEST_CASE("learn refuses an output that only a shot file names as a frame, before it learns") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  shot.write_shot("room.shot.yaml", {});
  const std::string front = test::get_file(shot.front());
  const std::string out = shot.at("new.template.yaml");
  int cases = 0;
  for (const std::vector<std::string>& outputs :
       {std::vector<std::string>{"--out", shot.front()}, {"--out", out, "--map", shot.front()}}) {
    std::vector<std::string> words = {"learn", "--shot", shot.at("room.shot.yaml"), "--overwrite"};
    words.insert(words.end(), outputs.begin(), outputs.end());
    check_refused(run(words), "is one of the files that this is made from");
    CHECK(test::get_file(shot.front()) == front);
    CHECK_FALSE(std::filesystem::exists(out));
    ++cases;
  }
  CHECK(cases == 2);
}

TEST_CASE("learn joins two stands, maps them and reports") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const std::string room = (scratch / "room").string();
  REQUIRE(
      run({"demo", room, "--frame", "600", "--shots", "library_1", "library_2", "--no-panoramas"})
          .exit_code == 0);
  // From the folder, where a stray file costs one line.
  test::put_file(room + "/frames/hall_1_front.tif", "II*");
  const std::string map_file = (scratch / "map.json").string();
  const auto learned = run({"learn", room + "/frames", "--body", "Lantern <7>", "--out",
                            (scratch / "T.template.yaml").string(), "--map", map_file, "--report",
                            (scratch / "report").string(), "--json"});
  INFO(learned.err);
  REQUIRE(learned.exit_code == 2);
  const auto answer = learned.json();
  REQUIRE(answer["left_out"].size() == 1);
  CHECK_THAT(learned.err, Catch::Contains("left out: ") && Catch::Contains("hall_1_front.tif"));
  CHECK(answer["shots"][0]["tracks"].get<int>() + answer["shots"][1]["tracks"].get<int>() > 100);

  const auto map = nlohmann::json::parse(test::get_file(map_file));
  CHECK(map["format"] == "seamwright-map");
  CHECK(map["stands"] == answer["stands"]);
  REQUIRE(map["stands"].size() == 2);
  const auto& stand = map["stands"][1];
  CHECK(stand["network"] == map["stands"][0]["network"]);
  const auto place = stand["position_m"].get<std::vector<double>>();
  const auto truth = nlohmann::json::parse(test::get_file(room + "/truth/poses.json"));
  double apart = 0;
  for (int axis = 0; axis < 3; ++axis) {
    const auto at = [&](int shot) {
      return truth["shots"][shot]["position_in_world_m"][axis].get<double>();
    };
    apart += std::pow(at(1) - at(0), 2);
  }
  const double distance = std::hypot(place[0], place[1], place[2]);
  CHECK(distance == Approx(std::sqrt(apart)).epsilon(0.05));

  const auto written = read_template(scratch / "T.template.yaml");
  REQUIRE(written);
  CHECK(written->body == "Lantern <7>");
  const auto info = read_frame_info(room + "/frames/library_1_front.tif");
  REQUIRE(info);
  CHECK(written->files.body_serial == info->body_serial);
  CHECK_THAT(test::get_file((scratch / "report" / "report.html").string()),
             Catch::Contains("Lantern &lt;7&gt;"));
}
#endif
