#include <filesystem>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "base/file.h"
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
