// Every number of every file, one after the other, set to what it may not be.

#include "templates/number_ranges.h"

#include <set>

#include <catch2/catch.hpp>

#include "solver/shared_terms.h"
#include "templates/run_file.h"
#include "templates/shot_file.h"
#include "tests/templates/sample.h"
#include "tests/templates/yaml_leaves.h"

using namespace seamwright;
using namespace seamwright::test;

namespace {

using Parsed = std::optional<Error>;  // empty: accepted

template <class T>
Parsed error_of(const Result<T>& result) {
  return result ? std::nullopt : Parsed(result.error());
}

Parsed parse_any(const std::string& text) {
  const std::string name = "file.yaml";
  if (text.starts_with("format: seamwright-shot")) return error_of(parse_shot_file(text, name));
  if (text.starts_with("format: seamwright-run")) return error_of(parse_run_file(text, name));
  return error_of(parse_template(text, name));
}

// A shot that says everything a shot can say.
std::string full_shot() {
  ShotFile shot;
  shot.frames = {"a/front.tif", "a/back.tif"};
  shot.rig_template = TemplateReference{.file = "t.yaml", .sha256 = std::string(64, '7')};
  shot.manual_ties = {
      {.range = TieRange::near, .sigma_px = 0.4, .sights = {{0, Vec2(1, 2)}, {1, Vec2(3, 4)}}}};
  ShotTouch touch;
  touch.names = SharedTerms(2, [](int, int) { return true; }).names();
  touch.step.assign(touch.names.size(), 0.001);
  shot.touch = touch;
  shot.seam = {{.wish = StrokeWish::away, .reach_rad = 0.1, .path = {{0.1, 0.2}, {0.3, -0.1}}}};
  shot.brackets = {{{"a/front.tif", 0.0}, {"a/front2.tif", 2.0}},
                   {{"a/back.tif", 0.0}, {"a/back2.tif", -2.0}}};
  shot.verticals = {{{{{-0.5, 0.3}, {-0.51, -0.4}}}}};
  return format_shot_file(shot);
}

// A run that says every number a run can say, of a shot as well.
std::string run_of_all_numbers() {
  RunFile run;
  run.look = {.width_px = 512,
              .brighter_ev = 0.5,
              .local = 0.25,
              .glow_removal = 0.5,
              .middle_deg = 12.5,
              .compass_deg = 90,
              .cover_deg = 18,
              .plate = "plate.png",
              .plate_deg = 20};
  run.look.look.room_ev = 0.25;
  run.look.look.cast_ev = 0.1;
  run.look.look.warmer_ev = -0.2;
  run.shots = {{.name = "hall", .files = {{"a.tif"}, {"b.tif"}}, .quarter_turns = {1, -1}}};
  run.shots[0].look = run.look;
  run.out = "b";
  run.jpegs = {{.quality = 80, .width_px = 4096}, {.quality = 70, .width_px = 2048}};
  run.faces = RunCube{.face_px = 512};
  run.tiles = RunCube{.face_px = 1024, .tile_px = 256, .quality = 70};
  run.rest_s = 5;
  run.frames_per_shot = 3;
  run.at_once = 4;
  run.memory_gib = 12.5;
  return format_run_file(run);
}

std::vector<std::string> samples() {
  Random random(95);
  const std::string metric = format_template(random_template(random));
  RigTemplate unscaled = random_template(random);
  unscaled.solution.rig.metric = false;
  return {metric, format_template(unscaled), full_shot(),
          "format: seamwright-run\nversion: 2\nshots: [a]\nout: b\nwidth_px: 4096\n"
          "jpeg: {quality: 90, width_px: 2048}\nrest_s: 5\nframes_per_shot: 3\n",
          run_of_all_numbers()};
}

// The text without comments, one value a line.
YamlValue tree_of(const std::string& text) {
  auto tree = parse_yaml(text, "file.yaml");
  REQUIRE(tree);
  return std::move(*tree);
}

int line_of_change(const std::string& before, const std::string& after) {
  const auto at = std::mismatch(before.begin(), before.end(), after.begin(), after.end()).first;
  return 1 + static_cast<int>(std::count(before.begin(), at, '\n'));
}

}  // namespace

TEST_CASE("every number out of its range is refused with its line and name", "[templates]") {
  CAPTURE(seed());
  std::set<std::string> met;
  int numbers = 0;
  for (const std::string& sample : samples()) {
    YamlValue tree = tree_of(sample);
    const std::string sound = yaml_of(tree);
    {
      CAPTURE(sound);
      const Parsed error = parse_any(sound);
      if (error) FAIL(error->line());
    }
    for_each_number(tree, [&](YamlValue& value) {
      const std::string text = std::exchange(value.text, "1e300");
      const std::string huge = yaml_of(tree);
      const int line = line_of_change(sound, huge);
      CAPTURE(line, huge);
      const Parsed error = parse_any(huge);
      REQUIRE(error);
      CHECK(error->where == fmt::format("file.yaml:{}", line));
      CHECK_FALSE(error->field.empty());
      CHECK_FALSE(error->remedy.empty());
      // The table says what the field may be, at both ends.
      const std::string key = range_key(error->field);
      for (const NumberRange& range : number_ranges()) {
        if (range.key != key) continue;
        met.insert(key);
        const double step = (range.most - range.least) / 1000;
        for (const double wrong : {range.least - step, range.most + step}) {
          value.text = fmt::format("{}", wrong);
          const Parsed refused = parse_any(yaml_of(tree));
          CAPTURE(key, wrong);
          REQUIRE(refused);
          CHECK(refused->where == fmt::format("file.yaml:{}", line));
          CHECK(range_key(refused->field) == key);
          CHECK_THAT(refused->what, Catch::Contains(fmt::format("{} is outside {}…{}", wrong,
                                                                range.least, range.most)));
        }
      }
      value.text = text;
      ++numbers;
    });
  }
  CHECK(numbers > 200);
  // Nothing stands in the table that no file has.
  for (const NumberRange& range : number_ranges()) {
    CAPTURE(range.key);
    CHECK(met.count(std::string(range.key)) == 1);
    CHECK(range.least < range.most);
  }
}

TEST_CASE("a field's place in lists does not matter to its range", "[templates]") {
  CHECK(range_key("lenses[1].rotation_deg[2]") == "lenses.rotation_deg");
  CHECK(range_key("touch.terms.lens1.radial_1") == "touch.terms.radial_1");
  CHECK(range_key("touch.terms.lens1.k1") == "touch.terms.radial_1");
  CHECK(range_key("gap_s") == "rest_s");
  CHECK(range_key("covariance[12][3]") == "covariance");
  CHECK(range_of("quality.flex_sigma_deg").most == 180);
  CHECK(range_of("something.new").most == 1e9);
}
