#include "templates/run_file.h"

#include <catch2/catch.hpp>

#include "tests/support/random.h"
#include "tests/templates/sample.h"

using namespace seamwright;
using namespace seamwright::test;

namespace {

const std::string kSample = R"(format: seamwright-run
version: 2
shots: ["archive/2024", "late/room.shot.yaml"]
templates: ["a.yaml", "b.yaml"]
out: "panoramas"
width_px: 16384
seam: plain
compression: deflate
jpeg: {quality: 88, width_px: 4096}
level: true
strip_location: true
pattern: "(?<shot>.+)_(?<lens>front|back)[.]tif"
rest_s: 5
frames_per_shot: 3
)";

void require_run_refused(const std::string& from, const std::string& to, const std::string& says) {
  const std::string text = edited(kSample, from, to);
  CAPTURE(text);
  const auto run = parse_run_file(text, "r.yaml");
  REQUIRE_FALSE(run);
  CHECK_THAT(run.error().line(), Catch::StartsWith("r.yaml:") && Catch::Contains(says));
  CHECK_FALSE(run.error().remedy.empty());
}

}  // namespace

TEST_CASE("a run file is read, all of it and the least of it", "[templates]") {
  const auto run = parse_run_file(kSample, "r.yaml");
  if (!run) FAIL(run.error().line());
  CHECK(run->shots.size() == 2);
  CHECK(run->templates[1] == "b.yaml");
  CHECK(run->out == "panoramas");
  CHECK(run->shots[0].place == "archive/2024");
  CHECK(run->look.width_px == 16384);
  CHECK(run->look.seam == "plain");
  CHECK(run->compression == "deflate");
  CHECK(run->jpegs == std::vector<RunJpeg>{{.quality = 88, .width_px = 4096}});
  CHECK(run->look.level == true);
  CHECK(run->strip_location);
  CHECK(run->rest_s == 5);
  CHECK(run->frames_per_shot == 3);
  const auto least =
      parse_run_file("format: seamwright-run\nversion: 2\nshots: [a]\nout: b\n", "r.yaml");
  REQUIRE(least);
  CHECK(least->look == RunLook{});
  CHECK(least->jpegs.empty());
  CHECK(least->templates.empty());
}

TEST_CASE("a run file of version 1 still reads; each version has its own name for the rest",
          "[templates]") {
  const auto old = parse_run_file(
      edited(edited(kSample, "version: 2", "version: 1"), "rest_s: 5", "gap_s: 7"), "r.yaml");
  if (!old) FAIL(old.error().line());
  CHECK(old->rest_s == 7);
  CHECK(old->frames_per_shot == 3);
  CHECK(old->shots.size() == 2);
  require_run_refused("version: 2", "version: 1", "rest_s");
  require_run_refused("rest_s: 5", "gap_s: 5", "gap_s");
}

namespace {

RunFile full_run() {
  RunFile run;
  RunShot hall{.name = "hall",
               .time = "2024-05-14 09:12:20",
               .body = "Lantern 0117",
               .rig_template = "b.template.yaml",
               .folder = "frames/100",
               .files = {{"a 1.tif", "a2.tif"}, {"b1.tif"}},
               .layout = "stacked",
               .quarter_turns = {1, -1},
               .odd = "lens 2 lacks 1 of \"2\" exposures",
               .skip = true};
  hall.look = {.width_px = 512,
               .seam = "plain",
               .brighter_ev = 0.5,
               .local = 0.25,
               .glow_removal = 0.5,
               .level = false,
               .middle_deg = 12.5,
               .compass_deg = 90,
               .cover_deg = 18,
               .plate = "plate.png",
               .plate_deg = 20,
               .anyway = true,
               .touch = false};
  hall.look.look.match = "run";
  hall.look.look.room_ev = 0.25;
  hall.look.look.cast_ev = 0.1;
  hall.look.look.warmer_ev = -0.2;
  run.shots = {{.place = "archive"},
               hall,
               {.name = "library", .folder = "frames/101"},
               {.name = "stairs", .files = {{"c.tif"}, {"d.tif"}}}};
  run.templates = {"a.yaml", "b.yaml"};
  run.out = "panoramas";
  run.names = "house_{name}";
  run.look = hall.look;
  run.compression = "lzw";
  run.jpegs = {{.quality = 80, .width_px = 4096}, {.width_px = 2048}};
  run.light = "exr";
  run.exr = true;
  run.faces = RunCube{.face_px = 512};
  run.tiles = RunCube{.face_px = 1024, .tile_px = 256, .quality = 70};
  run.strip_location = true;
  run.pattern = "(?<shot>.+)[.]tif";
  run.rest_s = 5;
  run.frames_per_shot = 3;
  run.at_once = 4;
  run.memory_gib = 12.5;
  return run;
}

}  // namespace

TEST_CASE("a run file of version 3 reads back as it was written, a line a shot", "[templates]") {
  const RunFile run = full_run();
  const std::string text = format_run_file(run);
  CAPTURE(text);
  const auto again = parse_run_file(text, "r.yaml");
  if (!again) FAIL(again.error().line());
  CHECK((*again == run));
  CHECK_THAT(text, Catch::Contains("\n  - \"archive\"\n"));
  CHECK_THAT(text, Catch::EndsWith("files: [\"c.tif\", \"d.tif\"]}\n"));
  for (const auto& [from, to, says] : std::vector<std::array<std::string, 3>>{
           {"name: \"library\"", "name: \"hall\"", "stands here twice"},
           {"name: \"library\"", "name: \"a/b\"", "no name for a file"},
           {", folder: \"frames/101\"", "", "names no picture"},
           {"[\"c.tif\", \"d.tif\"]", "[]", "is empty"},
           {"{width_px: 2048}", "{width_px: 4096}", "width of another"},
           {"cover_deg: 18", "cover_deg: 51", "outside 0…50"},
           {"glow_removal: 0.5", "glow_removal: 1.5", "outside 0…1"},
           {"layout: stacked", "layout: piled", "layout"},
           {"look: {match: run", "look: {match: all", "look.match"},
           {"look: {match: run", "look: {mach: run", "mach"},
           {"room_ev: 0.25", "room_ev: 3", "outside 0…2"},
           {"warmer_ev: -0.2", "warmer_ev: -2", "outside -1…1"},
           {"light: exr", "light: png", "light"}}) {
    CAPTURE(from, to);
    const auto wrong = parse_run_file(edited(text, from, to), "r.yaml");
    REQUIRE_FALSE(wrong);
    CHECK_THAT(wrong.error().line(), Catch::StartsWith("r.yaml:") && Catch::Contains(says));
  }
}

TEST_CASE("shots are added to a run file as a person left it", "[templates]") {
  const std::string text =
      "# our day\nformat: seamwright-run\nversion: 3\nshots:   # one a line\n"
      "- {name: hall,  folder: a}   # nice\n- late\n\n# the end\nout: b\n";
  const RunShot stairs{.name = "stairs", .files = {{"c.tif"}, {"d.tif"}}};
  const auto more = with_shots_added(text, "r.yaml", {stairs});
  if (!more) FAIL(more.error().line());
  CHECK(*more ==
        edited(text, "- late\n", "- late\n- {name: \"stairs\", files: [\"c.tif\", \"d.tif\"]}\n"));
  // Where a line cannot be added, nothing is guessed.
  for (const std::string shots : {"shots: [late]\n", "shots:\n  [late]\n",
                                  "shots:\n - {name: hall,\n    folder: a\n   }\n"}) {
    const auto refused = with_shots_added("format: seamwright-run\nversion: 3\nout: b\n" + shots,
                                          "r.yaml", {stairs});
    CAPTURE(shots);
    REQUIRE_FALSE(refused);
    CHECK_THAT(refused.error().line(), Catch::StartsWith("r.yaml:"));
  }
}

TEST_CASE("what a run file may not say is refused with its line", "[templates]") {
  require_run_refused("version: 2", "version: 4", "4 is newer");
  require_run_refused("shots: [\"archive/2024\", \"late/room.shot.yaml\"]", "shots: []",
                      "is empty");
  require_run_refused("archive/2024", "/archive/2024", "absolute");
  require_run_refused("out: \"panoramas\"\n", "", "out");
  require_run_refused("16384", "16383", "odd");
  require_run_refused("16384", "12", "width_px");
  require_run_refused("plain", "fancy", "seam");
  require_run_refused("88", "101", "quality");
  require_run_refused("rest_s: 5", "rest_s: -5", "rest_s");
  require_run_refused("level: true", "level: maybe", "level");
  require_run_refused("strip_location", "strip_locations", "strip_locations");
}

TEST_CASE("no run file crashes the reader", "[templates]") {
  CAPTURE(seed());
  Random random(71);
  int refused = 0;
  for (int i = 0; i < 300; ++i) {
    std::string text = kSample;
    for (int k = random.integer(1, 6); k > 0; --k) {
      const auto at =
          static_cast<std::size_t>(random.integer(0, static_cast<int>(text.size()) - 1));
      if (random.chance(0.5)) {
        text[at] = static_cast<char>(random.integer(0, 255));
      } else {
        text.erase(at, static_cast<std::size_t>(random.integer(1, 20)));
      }
    }
    if (!parse_run_file(text, "r.yaml")) ++refused;
  }
  CHECK(refused > 100);
}
