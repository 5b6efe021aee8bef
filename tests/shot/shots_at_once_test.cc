#include "jobs/restitch/shots_at_once.h"

#include <filesystem>

#include <catch2/catch.hpp>

#include "imaging/write_image.h"
#include "jobs/restitch/open_run.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;

TEST_CASE("as many shots go side by side as threads and memory allow", "[restitch]") {
  RunBudget budget{.memory_gib = 8};
  CHECK(shots_at_once(budget, 1, 0.5) == 1);
  CHECK(shots_at_once(budget, 3, 0.5) == 1);
  CHECK(shots_at_once(budget, 4, 0.5) == 2);
  CHECK(shots_at_once(budget, 16, 0.5) == 8);
  CHECK(shots_at_once(budget, 16, 2) == 4);
  CHECK(shots_at_once(budget, 16, 100) == 1);
  CHECK(shots_at_once(budget, 16, 0) == 8);  // not known
  budget.shots = 3;
  CHECK(shots_at_once(budget, 16, 0.5) == 3);
  CHECK(shots_at_once(budget, 2, 0.5) == 3);
  CHECK(shots_at_once(budget, 2, 4) == 2);  // memory counts also where a number was given
  budget.memory_gib = 0;
  CHECK(shots_at_once(budget, 2, 1e9) == 1);
}

TEST_CASE("what a shot takes is told by its pictures and by what is done with them", "[restitch]") {
  const test::ScratchDir dir;
  ShotFiles files;
  for (const char* name : {"a.tif", "b.tif"}) {
    REQUIRE(write_image(dir / name, Image(400, 400, Channels::rgb, SampleType::u16)));
    files.frames.push_back(dir / name);
  }
  ShotWishes wishes{.width_px = 2000};
  const double plain = memory_gib_of(files, wishes, false);
  const double whole = memory_gib_of(files, wishes, true);
  CHECK(plain > 0.0625);
  CHECK(whole - plain == Approx(24.0 * 2000 * 1000 / (1 << 30)));
  wishes.cover.cover_deg = 18;
  CHECK(memory_gib_of(files, wishes, false) == whole);
  wishes.width_px = 0;  // about three times as wide as a frame
  CHECK(memory_gib_of(files, wishes, false) - plain == Approx(24.0 * 1200 * 600 / (1 << 30)));
  files.frames = {dir / "none.tif"};
  CHECK(memory_gib_of(files, wishes, true) == 0);
}

TEST_CASE("a budget that makes no sense is refused by its name", "[restitch]") {
  CHECK_FALSE(RunBudget{}.validate());
  REQUIRE(RunBudget{.shots = -1}.validate());
  CHECK(RunBudget{.shots = -1}.validate()->field == "at_once");
  CHECK(RunBudget{.memory_gib = -2}.validate()->field == "memory_gib");
}

TEST_CASE("a run file holds the budget of its run", "[restitch]") {
  const test::ScratchDir dir;
  const auto budget_of = [&](const std::string& lines) {
    test::put_file(dir / "house.run.yaml", "format: seamwright-run\nversion: 3\nout: panoramas\n" +
                                               lines + "shots:\n  - \"frames\"\n");
    return read_run_request(dir / "house.run.yaml");
  };
  const auto said = budget_of("at_once: 5\nmemory_gib: 12.5\n");
  REQUIRE(said);
  CHECK(said->budget.shots == 5);
  CHECK(said->budget.memory_gib == 12.5);
  const auto usual = budget_of("");
  REQUIRE(usual);
  CHECK(usual->budget.shots == 0);
  CHECK(usual->budget.memory_gib == 0);
  for (const char* wrong : {"at_once: 0\n", "at_once: 2000\n", "memory_gib: -1\n"}) {
    CAPTURE(wrong);
    CHECK_FALSE(budget_of(wrong));
  }
}
