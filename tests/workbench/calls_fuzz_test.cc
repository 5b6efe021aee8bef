// The page's calls with their JSON broken on purpose: answered or refused in one line, no crash,
// and whatever was accepted can be saved, read back and shown.

#include <array>
#include <functional>
#include <limits>

#include <catch2/catch.hpp>

#include "apps/workbench/edit_json.h"
#include "apps/workbench/shot_calls.h"
#include "tests/fuzz/kept_seeds.h"
#include "tests/fuzz/mutate.h"
#include "tests/support/scratch_dir.h"
#include "tests/workbench/small_shot.h"

using namespace seamwright;
using namespace seamwright::workbench;
using nlohmann::json;

namespace {

using test::Random;

struct SoundCall {
  Result<json> (ShotCalls::*call)(int, const json&);
  json body;
};

std::vector<SoundCall> sound_calls() {
  const json tie = {
      {"range", "far"},
      {"sigma_px", 0.5},
      {"sights", {{{"lens", 0}, {"px", {20.5, 80.25}}}, {{"lens", 1}, {"px", {140, 79}}}}}};
  const json stroke = {
      {"wish", "lens"}, {"lens", 1}, {"reach_rad", 0.02}, {"path_rad", {{0.1, 0.2}, {0.15, -0.2}}}};
  const json edge = {{"ends_rad", {{0.1, 0.4}, {0.11, -0.3}}}};
  return {{&ShotCalls::edit, {{"kind", "add-tie"}, {"tie", tie}}},
          {&ShotCalls::edit, {{"kind", "change-tie"}, {"id", 1}, {"tie", tie}}},
          {&ShotCalls::edit, {{"kind", "switch-tie"}, {"id", 1}, {"on", false}}},
          {&ShotCalls::edit, {{"kind", "remove-tie"}, {"id", 1}}},
          {&ShotCalls::edit, {{"kind", "add-stroke"}, {"stroke", stroke}}},
          {&ShotCalls::edit, {{"kind", "remove-stroke"}, {"id", 1}}},
          {&ShotCalls::edit, {{"kind", "add-vertical"}, {"vertical", edge}}},
          {&ShotCalls::move, {{"id", 1}, {"lens", 0}, {"at", {20, 5}}}},
          {&ShotCalls::match, {{"pair", 0}, {"lens", 0}, {"at", {40, 6}}}},
          {&ShotCalls::place_on_sphere, {{"pair", 0}, {"at", {40, 6}}}},
          {&ShotCalls::draw,
           {{"pair", 0}, {"wish", "away"}, {"reach_px", 4}, {"path", {{10, 5}, {12, 5}}}}}};
}

// The call that a kept body's name begins with.
Result<json> (ShotCalls::*call_named(const std::string& name))(int, const json&) {
  if (name.starts_with("move_")) return &ShotCalls::move;
  if (name.starts_with("draw_")) return &ShotCalls::draw;
  REQUIRE(name.starts_with("edit_"));
  return &ShotCalls::edit;
}

// Those, and the bodies that are kept for this.
std::vector<SoundCall> all_calls() {
  std::vector<SoundCall> calls = sound_calls();
  for (const auto& [name, text] : test::kept_seeds("calls")) {
    const auto body = parsed(text);
    CAPTURE(name);
    REQUIRE(body);
    calls.push_back({call_named(name), *body});
  }
  return calls;
}

json hostile_value(Random& random) {
  static const std::array<json, 20> values = {
      nullptr,
      true,
      "",
      "far",
      "\xE9\x80",
      std::string(5000, 'a'),
      0,
      -1,
      2,
      1e308,
      -1e308,
      5e-324,
      std::numeric_limits<double>::quiet_NaN(),
      std::numeric_limits<double>::infinity(),
      std::numeric_limits<std::uint64_t>::max(),
      std::numeric_limits<std::int64_t>::min(),
      json::array(),
      json::object(),
      json::array({json::array({json::array({1})})}),
      json::array({1, 2, 3}),
  };
  return values[random.bits() % values.size()];
}

void collect(json& value, std::vector<json*>& all) {
  all.push_back(&value);
  if (value.is_structured()) {
    for (auto& inner : value) collect(inner, all);
  }
}

// One to three changes to what the body holds, not to how it is written.
json changed(Random& random, json body) {
  for (int i = random.chance(0.5) ? 1 : random.integer(2, 3); i > 0; --i) {
    std::vector<json*> all;
    collect(body, all);
    json& value = *all[random.bits() % all.size()];
    if (value.is_object() && !value.empty() && random.chance(0.6)) {
      auto at = std::next(value.begin(), static_cast<int>(random.bits() % value.size()));
      if (random.chance(0.5)) {
        value.erase(at);
      } else {
        value["another"] = *at;
      }
    } else if (value.is_array() && !value.empty() && random.chance(0.6)) {
      const json first = value.front();
      for (int more = random.chance(0.1) ? 3000 : 1; more > 0; --more) value.push_back(first);
    } else if (value.is_number_integer() && random.chance(0.7)) {
      value = random.integer(-1, 3);
    } else if (value.is_number() && random.chance(0.7)) {
      value = random.uniform(-1.5, 1.5) * value.get<double>();
    } else {
      value = hostile_value(random);
    }
  }
  return body;
}

// What is wrong with an answer; empty: nothing.
std::string complaint_about(const Result<json>& answer) {
  if (answer)
    return answer->dump(-1, ' ', false, json::error_handler_t::replace).empty() ? "mute" : "";
  const std::string line = answer.error().line();
  if (answer.error().what.empty()) return "no reason: " + line;
  return line.find_first_of("\n\r\x1b") == std::string::npos ? "" : "no plain line: " + line;
}

}  // namespace

TEST_CASE("calls with other values are answered or refused, and what is kept can be read",
          "[fuzz]") {
  CAPTURE(test::seed());
  const test::ScratchDir folder;
  ShotCalls calls(
      {{"room", folder / "room.shot.yaml", {}}}, [](const ShotEntry&) -> Result<OpenedShot> {
        OpenedShot shot = test::small_shot();
        // A touch belongs to one very template.
        shot.document.rig_template = TemplateReference{"T.template.yaml", std::string(64, 'a')};
        return shot;
      });
  const auto sound = all_calls();
  Random random(301);
  int accepted = 0;
  int refused = 0;
  for (int round = 0; round < test::fuzz_rounds(22); ++round) {
    for (std::size_t i = 0; i < sound.size(); ++i) {
      // Something to change and to remove.
      if (i == 0) REQUIRE(calls.edit(0, sound[0].body));
      const json body = changed(random, sound[i].body);
      const auto answer = (calls.*sound[i].call)(0, body);
      (answer ? accepted : refused) += 1;
      CAPTURE(round, i, body.dump(-1, ' ', false, json::error_handler_t::replace).substr(0, 600));
      REQUIRE(complaint_about(answer).empty());
    }
    REQUIRE(complaint_about(calls.view(0)).empty());
    const auto saved = calls.step(0, "save");
    REQUIRE(complaint_about(saved).empty());
    if (!saved) FAIL(saved.error().line());
    const auto read = read_shot_file(folder / "room.shot.yaml");
    if (!read) FAIL(read.error().line());
    for (std::size_t i = 0; i <= sound.size(); ++i) REQUIRE(calls.step(0, "undo"));
  }
  CHECK(accepted > 20);
  CHECK(refused > 100);
}

TEST_CASE("texts that are no JSON are refused in one line", "[fuzz]") {
  CAPTURE(test::seed());
  Random random(302);
  std::vector<std::string> texts;
  for (const SoundCall& call : sound_calls()) texts.push_back(call.body.dump());
  for (const auto& [name, text] : test::kept_seeds("calls")) texts.push_back(text);
  int refused = 0;
  for (int round = 0; round < test::fuzz_rounds(40) * 10; ++round) {
    const std::string& text = texts[random.bits() % texts.size()];
    const auto body =
        parsed(test::mutated_bytes(random, text, "[[[[{\"a\":1e999,\"b\":\"\\ud800\"}"));
    if (body) continue;
    ++refused;
    REQUIRE(complaint_about(body).empty());
  }
  CHECK(refused > 100);
  CHECK_FALSE(parsed(std::string(100'000, '[')));
}
