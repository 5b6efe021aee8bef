#include "apps/workbench/shot_calls.h"

#include <memory>

#include <catch2/catch.hpp>

#include "tests/support/scratch_dir.h"
#include "tests/workbench/small_shot.h"

using namespace seamwright;
using namespace seamwright::workbench;
using nlohmann::json;

namespace {

/// A program with one shot of a folder on its bench.
struct Program {
  ShotCalls calls;

  explicit Program(const test::ScratchDir& folder)
      : calls({{"room", folder / "room.shot.yaml", {}}},
              [](const ShotEntry&) -> Result<OpenedShot> { return test::small_shot(); }) {}

  [[nodiscard]] Result<json> draw(double x) {
    return calls.draw(0, {{"pair", 0}, {"wish", "away"}, {"reach_px", 4}, {"path", {{x, 5}}}});
  }
  [[nodiscard]] json view() {
    const auto view = calls.view(0);
    if (!view) FAIL(view.error().line());
    return *view;
  }
};

}  // namespace

TEST_CASE("two windows on one shot: what one removed, the other does not remove again") {
  const test::ScratchDir folder;
  Program program(folder);
  REQUIRE(program.draw(10));
  REQUIRE(program.draw(50));
  const auto drawn = program.draw(90);
  REQUIRE(drawn);
  const json seen = (*drawn)["strokes"];  // by both windows
  REQUIRE(seen.size() == 3);
  const json removal = {{"kind", "remove-stroke"}, {"id", seen[0]["id"]}};
  REQUIRE(program.calls.edit(0, removal));
  const auto again = program.calls.edit(0, removal);
  REQUIRE_FALSE(again);
  CHECK_THAT(again.error().line(), Catch::Contains("there is no stroke 1"));
  const json left = program.view()["strokes"];
  REQUIRE(left.size() == 2);
  CHECK(left[0] == seen[1]);
  CHECK(left[1] == seen[2]);
  CHECK_FALSE(program.calls.edit(0, {{"kind", "remove-stroke"}, {"index", 0}}));
}

TEST_CASE("a second program sees a shot and edits it once the first has gone") {
  const test::ScratchDir folder;
  auto first = std::make_unique<Program>(folder);
  Program second(folder);
  CHECK(second.view()["note"] == "");
  REQUIRE(first->draw(10));
  CHECK_FALSE(second.draw(20));
  const json looking = second.view();
  CHECK(looking["strokes"] == first->view()["strokes"]);
  CHECK_THAT(looking["note"].get<std::string>(), Catch::Contains("no edits here"));
  REQUIRE(first->draw(30));
  const auto refused = second.draw(20);
  REQUIRE_FALSE(refused);
  CHECK_THAT(refused.error().line(), Catch::Contains("another program"));
  CHECK(second.view()["strokes"].size() == 2);
  first.reset();
  REQUIRE(second.draw(20));
  CHECK(second.view()["strokes"].size() == 3);
  CHECK(second.view()["note"] == "");
}
