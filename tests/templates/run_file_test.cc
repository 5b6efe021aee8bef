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
  CHECK(run->width_px == 16384);
  CHECK(run->seam == "plain");
  CHECK(run->compression == "deflate");
  REQUIRE(run->jpeg);
  CHECK(run->jpeg->quality == 88);
  CHECK(run->jpeg->width_px == 4096);
  CHECK(run->level);
  CHECK(run->strip_location);
  CHECK(run->rest_s == 5);
  CHECK(run->frames_per_shot == 3);
  const auto least =
      parse_run_file("format: seamwright-run\nversion: 2\nshots: [a]\nout: b\n", "r.yaml");
  REQUIRE(least);
  CHECK_FALSE(least->width_px);
  CHECK_FALSE(least->jpeg);
  CHECK(least->seam == "depth");
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

TEST_CASE("what a run file may not say is refused with its line", "[templates]") {
  require_run_refused("version: 2", "version: 3", "3 is newer");
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
