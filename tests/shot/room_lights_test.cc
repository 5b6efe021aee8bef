// What shots told of their light is remembered over runs, and never believed too early.

#include "jobs/restitch/room_lights.h"

#include <filesystem>
#include <string>

#include <catch2/catch.hpp>

#include "tests/support/scratch_dir.h"

using namespace seamwright;

namespace {

constexpr RoomLight kToldLight = {
    .light = {.level_ev = -2.7, .red_ev = 0.1, .blue_ev = -1.0 / 3, .grey_share = 0.25},
    .exposure_ev = -5.5};

}  // namespace

TEST_CASE("lights are remembered to the last bit, and a damaged line is told anew", "[shot]") {
  const test::ScratchDir dir;
  RoomLight untold = kToldLight;
  untold.exposure_ev.reset();
  {
    RoomLights lights(dir.path(), RoomLights::Keep::yes);
    CHECK_FALSE(lights.of("a"));
    lights.put("a", kToldLight);
    lights.put("b", untold);
    CHECK(lights.of("a") == kToldLight);
    // Another part of the run uses what is there, and keeps nothing of its own.
    RoomLights other(dir.path(), RoomLights::Keep::yes);
    CHECK(other.of("b") == untold);
    other.put("c", kToldLight);
    CHECK(other.of("c") == kToldLight);
  }
  const RoomLights again(dir.path(), RoomLights::Keep::yes);
  CHECK(again.of("a") == kToldLight);
  CHECK(again.of("b") == untold);
  CHECK_FALSE(again.of("c"));

  const auto file = dir.path() / ".restitch" / "lights";
  std::string text = test::get_file(file);
  text[text.find("level_ev") + 12] ^= 1;
  test::put_file(file, text);
  const RoomLights damaged(dir.path(), RoomLights::Keep::no);
  CHECK(damaged.of("a").has_value() != damaged.of("b").has_value());
}

TEST_CASE("a dry run writes nothing", "[shot]") {
  const test::ScratchDir dir;
  RoomLights lights(dir.path(), RoomLights::Keep::no);
  lights.put("a", kToldLight);
  CHECK(lights.of("a") == kToldLight);
  CHECK(dir.entry_count() == 0);
}

TEST_CASE("a file that was just written is not known by its times", "[shot]") {
  const test::ScratchDir dir;
  test::put_file(dir / "frame.tif", "light");
  CHECK_FALSE(stamp_key({dir / "frame.tif"}, "settings"));
  CHECK_FALSE(stamp_key({dir / "nowhere.tif"}, "settings"));
  // What has lain there for long is: this very program.
  const std::filesystem::path old = std::filesystem::read_symlink("/proc/self/exe");
  const auto key = stamp_key({old}, "settings");
  REQUIRE(key);
  CHECK(key == stamp_key({old}, "settings"));
  CHECK(key != stamp_key({old}, "others"));
  CHECK_FALSE(stamp_key({old, dir / "frame.tif"}, "settings"));
}
