// Template, shot and run files with numbers, keys and shapes that somebody changed: refused in one
// line with its place, or good for everything that is then done with them.

#include <cmath>
#include <functional>

#include <catch2/catch.hpp>

#include "solver/shared_terms.h"
#include "solver/touch.h"
#include "templates/run_file.h"
#include "templates/shot_file.h"
#include "tests/fuzz/kept_seeds.h"
#include "tests/fuzz/mutate.h"
#include "tests/support/ties.h"
#include "tests/templates/sample.h"
#include "tests/templates/yaml_leaves.h"

using namespace seamwright;
using namespace seamwright::test;

namespace {

constexpr std::string_view kNumbers[] = {
    "0",      "-0",      "1",     "-1",      "2",     "1e-320", "1e-160",     "-1e-30",     "1e-12",
    "0.5",    "1e3",     "1e6",   "-1e6",    "1e9",   "1e12",   "1e30",       "1e154",      "1e160",
    "1e308",  "-1e308",  "1e400", ".nan",    "-.inf", "90",     "180",        "-180",       "360",
    "1e5000", "1e-5000", "255",   "65535.5", "-2",    "1000",   "2147483648", "4294967295", "8"};
constexpr std::string_view kPieces[] = {":",  ": ",  "- ", "\n", "  ",   "[",  "]",
                                        "{",  "}",   ",",  "&a", "*a",   "!!", "null",
                                        "\"", "|\n", "\t", "#",  "\xff", "? "};

// Some leaves get another number; now and then a value becomes another's.
void change_numbers(Random& random, YamlValue& tree) {
  int count = 0;
  for_each_number(tree, [&](YamlValue&) { ++count; });
  if (count == 0) return;
  for (int edit = random.integer(1, 4); edit > 0; --edit) {
    int left = random.integer(0, count - 1);
    for_each_number(tree, [&](YamlValue& value) {
      if (left-- != 0) return;
      value.text = kNumbers[random.bits() % std::size(kNumbers)];
    });
  }
}

std::string mutated(Random& random, const YamlValue& sound) {
  YamlValue tree = sound;
  change_numbers(random, tree);
  std::string text = yaml_of(tree);
  if (random.chance(0.3)) {
    const auto at = static_cast<std::size_t>(random.integer(0, static_cast<int>(text.size()) - 1));
    if (random.chance(0.5)) {
      text.insert(at, kPieces[random.bits() % std::size(kPieces)]);
    } else {
      text.erase(at, static_cast<std::size_t>(random.integer(1, 40)));
    }
  }
  return text;
}

void check_message(const Error& error) {
  const std::string message = error.line();
  CHECK(message.find_first_of("\n\r") == std::string::npos);
  CHECK(message.starts_with("fuzz.yaml:"));
  CHECK(message.size() < 1500);
}

// Directions through every lens and back: all finite.
void use_lenses(const Rig& rig) {
  for (const MountedLens& mounted : rig.lenses) {
    const Lens& lens = mounted.lens;
    for (double share : {0.1, 0.5, 0.9}) {
      const Vec2 px(share * lens.width_px, (1 - share) * lens.height_px);
      const auto direction = mounted.direction_in_rig(px);
      if (!direction) continue;
      CHECK(direction->allFinite());
      const auto back = mounted.project_direction(*direction);
      if (back) CHECK(back->allFinite());
    }
  }
}

// A touch by ties that the rig itself would give, and by ones it would not.
void use_template(Random& random, const RigTemplate& value) {
  use_lenses(value.rig());
  const Lens& lens = value.rig().lenses[0].lens;
  std::vector<Tie> ties;
  for (int i = 0; i < 4; ++i) {
    ManualTie tie;
    tie.range = static_cast<TieRange>(random.integer(0, 2));
    for (int k = 0; k < 2; ++k) {
      tie.sights.push_back(
          {k, Vec2(random.uniform(0, lens.width_px), random.uniform(0, lens.height_px))});
    }
    ties.push_back(tie.as_tie(0));
  }
  for (const std::size_t count : {std::size_t{1}, std::size_t{2}, ties.size()}) {
    const auto touched = touch(value.rig(), value.solution.covariance,
                               value.solution.quality.flex_sigma_rad, std::span(ties).first(count));
    if (!touched) {
      CHECK_FALSE(touched.error().what.empty());
      continue;
    }
    CHECK_FALSE(touched->rig.validate());
    CHECK(touched->step.allFinite());
    CHECK(std::isfinite(touched->flex_rad));
  }
}

YamlValue tree_of(const std::string& text) {
  auto tree = parse_yaml(text, "corpus.yaml");
  REQUIRE(tree);
  return std::move(*tree);
}

std::string full_shot() {
  ShotFile shot;
  shot.frames = {"a/front.tif", "a/back.tif"};
  shot.rig_template = TemplateReference{.file = "t.yaml", .sha256 = std::string(64, '7')};
  shot.manual_ties = {
      {.range = TieRange::near, .sigma_px = 0.4, .sights = {{0, Vec2(1, 2)}, {1, Vec2(3, 4)}}}};
  shot.touch = ShotTouch{.names = {"lens0.focal_px", "lens1.rotation_x_rad"}, .step = {0.1, 0.01}};
  shot.seam = {{.wish = StrokeWish::away, .reach_rad = 0.1, .path = {{0.1, 0.2}, {0.3, -0.1}}}};
  shot.brackets = {{{"a/front.tif", 0.0}, {"a/front2.tif", 2.0}},
                   {{"a/back.tif", 0.0}, {"a/back2.tif", -2.0}}};
  shot.verticals = {{{{{-0.5, 0.3}, {-0.51, -0.4}}}}};
  return format_shot_file(shot);
}

void fuzz_templates(int rounds, std::uint64_t stream) {
  CAPTURE(seed());
  Random random(stream);
  int accepted = 0;
  int refused = 0;
  for (int body = 0; body < 3; ++body) {
    RigTemplate made = random_template(random, {.lens_count = 2 + 2 * body});
    made.solution.rig.metric = body != 1;
    const YamlValue sound = tree_of(format_template(made));
    for (int round = 0; round < rounds; ++round) {
      const std::string text = mutated(random, sound);
      CAPTURE(body, round, text);
      const auto value = parse_template(text, "fuzz.yaml");
      if (!value) {
        ++refused;
        check_message(value.error());
        continue;
      }
      ++accepted;
      CHECK_FALSE(value->rig().validate());
      CHECK(parse_template(format_template(*value), "again.yaml"));
      use_template(random, *value);
    }
  }
  CHECK(refused > rounds);
  CHECK(accepted > rounds / 10);
}

std::string full_day() {
  RunFile run;
  run.look = {.width_px = 512, .brighter_ev = 0.5, .cover_deg = 18};
  run.look.look.match = "run";
  run.look.look.room_ev = 0.5;
  run.shots = {{.name = "hall", .files = {{"a.tif", "b.tif"}, {"c.tif"}}, .quarter_turns = {1, -1}},
               {.place = "archive"}};
  run.shots[0].look = run.look;
  run.out = "b";
  run.jpegs = {{.quality = 80, .width_px = 4096}, {.quality = 70, .width_px = 2048}};
  run.tiles = RunCube{.face_px = 1024, .tile_px = 256, .quality = 70};
  return format_run_file(run);
}

void fuzz_shots_and_runs(int rounds, std::uint64_t stream) {
  CAPTURE(seed());
  Random random(stream);
  const YamlValue shot = tree_of(full_shot());
  const YamlValue day = tree_of(full_day());
  const YamlValue run = tree_of(
      "format: seamwright-run\nversion: 1\nshots: [a, c]\nout: b\nwidth_px: 4096\n"
      "jpeg: {quality: 90, width_px: 2048}\ngap_s: 5\nframes_per_shot: 3\nlevel: true\n");
  const Rig rig = random_rig(random);
  int accepted = 0;
  int refused = 0;
  for (int round = 0; round < rounds; ++round) {
    const std::string shot_text = mutated(random, shot);
    const std::string run_text = mutated(random, round % 2 == 0 ? run : day);
    CAPTURE(round, shot_text, run_text);
    if (const auto read = parse_shot_file(shot_text, "fuzz.yaml")) {
      ++accepted;
      for (const UprightEdge& edge : read->verticals) CHECK_FALSE(edge.validate());
      for (const ManualTie& tie : read->manual_ties) CHECK(tie.as_tie(0).sights.size() >= 2);
      if (read->touch) {
        const auto touched = touched_rig(rig, *read->touch);
        if (touched) use_lenses(*touched);
      }
      CHECK(parse_shot_file(format_shot_file(*read), "again.yaml"));
    } else {
      ++refused;
      check_message(read.error());
    }
    if (const auto read = parse_run_file(run_text, "fuzz.yaml")) {
      ++accepted;
      CHECK(std::isfinite(read->rest_s));
      const auto again = parse_run_file(format_run_file(*read), "again.yaml");
      REQUIRE(again);
      CHECK((*again == *read));
    } else {
      ++refused;
      check_message(read.error());
    }
  }
  CHECK(accepted > rounds / 10);
  CHECK(refused > rounds / 10);
}

// The reader that a kept file's name begins with; what is wrong with its answer, empty: nothing.
// `good` says whether it was read.
template <class T>
std::string complaint_about_text(const Result<T>& value, bool& good) {
  good = value.has_value();
  if (good) return "";
  const std::string line = value.error().line();
  if (!line.starts_with("fuzz.yaml")) return "unnamed: " + line;
  return line.find_first_of("\n\r") == std::string::npos ? "" : "several lines: " + line;
}

std::string read_as_its_kind(const std::string& name, const std::string& text, bool& good) {
  if (name.starts_with("template_")) {
    return complaint_about_text(parse_template(text, "fuzz.yaml"), good);
  }
  if (name.starts_with("shot_")) {
    return complaint_about_text(parse_shot_file(text, "fuzz.yaml"), good);
  }
  if (name.starts_with("run_")) {
    return complaint_about_text(parse_run_file(text, "fuzz.yaml"), good);
  }
  return "no reader of this name";
}

}  // namespace

TEST_CASE("kept files of people's hands and of earlier versions, broken on purpose", "[fuzz]") {
  CAPTURE(seed());
  const Seeds files = kept_seeds("yaml");
  Random random(114);
  const auto count = static_cast<int>(files.size());
  int accepted = 0;
  int runs = 0;
  for (const auto& [name, sound] : files) {
    for (int round = 0; round < fuzz_rounds(60); ++round, ++runs) {
      const auto other = std::next(files.begin(), random.integer(0, count - 1));
      const std::string text = changed_text(random, sound, other->second, round);
      CAPTURE(name, round, text);
      bool good = false;
      REQUIRE(read_as_its_kind(name, text, good).empty());
      // As they are, all are good but one, which has no lens.
      if (round == 0) CHECK(good == (name != "template_by_hand.yaml"));
      accepted += good ? 1 : 0;
    }
  }
  CHECK(accepted > runs / 50);
  CHECK(accepted < runs / 2);
}

TEST_CASE("templates with other numbers are refused or good for a touch", "[fuzz]") {
  fuzz_templates(fuzz_rounds(400), 111);
}

TEST_CASE("many more templates with other numbers are refused or good for a touch",
          "[fuzz][long]") {
  fuzz_templates(fuzz_rounds(4000), 112);
}

TEST_CASE("shot and run files with other numbers are refused or good", "[fuzz]") {
  fuzz_shots_and_runs(fuzz_rounds(1700), 113);
}
