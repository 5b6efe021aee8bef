#include "jobs/archive/run.h"

#include <atomic>
#include <chrono>
#include <filesystem>

#include <catch2/catch.hpp>

#include "base/file.h"
#include "tests/archive/copies.h"
#include "tests/support/random.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;
using test::seed;

namespace fs = std::filesystem;
using test::Archive;

TEST_CASE("what was done from the same is not done again, what changed is", "[archive]") {
  Archive archive;
  CHECK(archive.run().count(ItemState::done) == 4);
  const RunReport second = archive.run();
  CHECK(second.count(ItemState::unchanged) == 4);
  CHECK(archive.worked.empty());
  CHECK(second.items[2].findings == std::vector<std::string>{"a finding of c"});

  archive.write("b", "other pixels");
  archive.items[2].settings = "width 128";
  fs::remove(archive.dir / "out" / "d.tif");
  const RunReport third = archive.run();
  CHECK(third.items[0].state == ItemState::unchanged);
  CHECK(third.items[1].why == "inputs changed");
  CHECK(third.items[2].why == "settings changed");
  CHECK(third.items[3].why == "output missing");
  CHECK(third.count(ItemState::done) == 3);
  CHECK(test::get_file(archive.dir / "out" / "c.tif") == "pixels of cwidth 128");
  // Somebody changed it: it is kept, until the person allows its replacement.
  test::put_file(archive.dir / "out" / "a.tif", "cut");
  const RunReport kept = archive.run();
  CHECK(kept.items[0].state == ItemState::failed);
  CHECK_THAT(kept.items[0].why, Catch::Contains("not as this program wrote it"));
  CHECK(test::get_file(archive.dir / "out" / "a.tif") == "cut");
  const FileGuard allowed({.overwrite = true});
  CHECK(archive.run().items[0].why == "output changed");
  std::string bytes = test::get_file(archive.dir / "out" / "a.tif");
  bytes[3] = '!';  // as long as before
  test::put_file(archive.dir / "out" / "a.tif", bytes);
  CHECK(archive.run().items[0].why == "output changed");
}

TEST_CASE("outputs that only the work can tell are kept track of like the others", "[archive]") {
  Archive archive(2);
  // Like tiles: how many there are, the panorama's content says.
  const auto tiles_of = [&](const std::string& name) {
    std::vector<fs::path> tiles;
    for (std::size_t i = 0; i < archive.items[0].settings.size(); ++i) {
      tiles.push_back(archive.dir / "out" / (name + "-tiles") / (std::to_string(i) + ".jpg"));
    }
    return tiles;
  };
  const ItemWork work = [&](const ArchiveItem& item) -> Result<std::vector<std::string>> {
    fs::create_directories(archive.dir / "out" / (item.name + "-tiles"));
    for (const fs::path& tile : tiles_of(item.name)) {
      if (auto done = write_file(tile, "tile of " + item.name); !done) {
        return tl::unexpected(done.error());
      }
    }
    return archive.work(item);
  };
  const auto run = [&] {
    auto report = run_archive(archive.items, archive.options, work);
    if (!report) FAIL(report.error().line());
    return std::move(*report);
  };
  for (ArchiveItem& item : archive.items) {
    item.settings = "4444";
    item.further_outputs = [&tiles_of, name = item.name]() -> Result<std::vector<fs::path>> {
      return tiles_of(name);
    };
  }
  REQUIRE(run().count(ItemState::done) == 2);
  CHECK(run().count(ItemState::unchanged) == 2);
  fs::remove(tiles_of("a")[2]);
  CHECK(run().items[0].why == "output missing");
  CHECK(run().count(ItemState::unchanged) == 2);
  // Somebody's own tile is kept, and its item says so.
  test::put_file(tiles_of("b")[3], "retouched");
  const RunReport kept = run();
  CHECK(kept.items[1].state == ItemState::failed);
  CHECK_THAT(kept.items[1].why, Catch::Contains("not as this program wrote it"));
  CHECK(test::get_file(tiles_of("b")[3]) == "retouched");
  // An item that has no such outputs any more was made otherwise.
  archive.items[0].further_outputs = {};
  CHECK(run().items[0].why == "output missing");
}

TEST_CASE("settings that an earlier program wrote otherwise are the same settings", "[archive]") {
  Archive archive(3);
  archive.run();
  for (ArchiveItem& item : archive.items) item.settings = "width=64";
  archive.items[0].former_settings = {"width 32", "width 64"};
  archive.items[1].former_settings = {"width 32"};
  const RunReport report = archive.run();
  CHECK(report.items[0].state == ItemState::unchanged);
  CHECK(report.items[1].why == "settings changed");
  CHECK(report.items[2].why == "settings changed");
}

TEST_CASE("an item that was begun and never ended says so", "[archive]") {
  Archive archive(3);
  fs::create_directories(archive.journal().parent_path());
  test::put_file(archive.journal(),
                 test::journal_line(R"({"event":"begin","name":"a"})") +
                     test::journal_line(R"({"event":"begin","name":"b"})") +
                     test::journal_line(R"({"event":"failed","name":"b","error":"no"})"));
  const RunReport report = archive.run();
  CHECK(report.items[0].why == "interrupted");
  CHECK(report.items[1].why == "new");
  CHECK(report.items[2].why == "new");
  CHECK(report.count(ItemState::done) == 3);
}

TEST_CASE("going back to old settings does not pass off the new outputs as the old ones",
          "[archive]") {
  Archive archive;
  const auto with = [&](const std::string& settings) {
    for (ArchiveItem& item : archive.items) item.settings = settings;
    return archive.run();
  };
  const auto all_are = [&](const std::string& settings) {
    for (const ArchiveItem& item : archive.items) {
      CHECK(test::get_file(item.outputs[0]) == "pixels of " + item.name + settings);
    }
  };
  SECTION("by parts in between, whose journals are others") {
    with("width 1");
    archive.options.parts = 2;
    with("width 2");
    archive.options.part = 2;
    with("width 2");
    archive.options.part = archive.options.parts = 1;
    CHECK(with("width 1").count(ItemState::done) == 4);
    all_are("width 1");
  }
  SECTION("by a run that was killed before it could say so") {
    with("width 1");
    with("width 2");
    const fs::path journal = archive.dir / "out" / ".restitch" / "journal.log";
    const std::string text = test::get_file(journal);
    test::put_file(journal, text.substr(0, text.rfind('\n', text.size() - 2) + 1));
    with("width 1");
    all_are("width 1");
  }
}

TEST_CASE("an input that vanishes under the work fails its item only", "[archive]") {
  Archive archive;
  const auto report = run_archive(archive.items, archive.options, [&](const ArchiveItem& item) {
    auto done = archive.work(item);
    if (item.name == "b") fs::remove(archive.input("b"));
    return done;
  });
  REQUIRE(report);
  CHECK(report->items[1].state == ItemState::failed);
  CHECK(report->count(ItemState::done) == 3);
}

TEST_CASE("parts share a folder, a whole run wants it alone", "[archive]") {
  Archive archive;
  const auto nothing = [](const ArchiveItem&) {
    return Result<std::vector<std::string>>(std::vector<std::string>{});
  };
  archive.options.parts = 2;
  std::string whole, other_part;
  const auto report = run_archive(archive.items, archive.options, [&](const ArchiveItem& item) {
    const auto refused = run_archive({}, {.folder = archive.options.folder}, nothing);
    whole = refused ? "" : refused.error().line();
    const auto beside =
        run_archive({}, {.folder = archive.options.folder, .part = 2, .parts = 2}, nothing);
    other_part = beside ? "" : beside.error().line();
    return archive.work(item);
  });
  REQUIRE(report);
  CHECK_THAT(whole, Catch::Contains("another run works on this folder"));
  CHECK(other_part.empty());
}

TEST_CASE("an edit of equal size and time is noticed where the time is young", "[archive]") {
  Archive archive(1);
  test::put_file(archive.input("a"), "first");  // young: its hash is not remembered
  archive.run();
  const auto time = fs::last_write_time(archive.input("a"));
  test::put_file(archive.input("a"), "other");
  fs::last_write_time(archive.input("a"), time);
  CHECK(archive.run().items[0].why == "inputs changed");
  // A clock that ran ahead leaves times in the future: hashed each time, never believed.
  fs::last_write_time(archive.input("a"), fs::file_time_type::clock::now() + std::chrono::hours(9));
  CHECK(archive.run().count(ItemState::unchanged) == 1);
  const auto ahead = fs::last_write_time(archive.input("a"));
  test::put_file(archive.input("a"), "third");
  fs::last_write_time(archive.input("a"), ahead);
  CHECK(archive.run().items[0].why == "inputs changed");
}

TEST_CASE("a dry run writes nothing", "[archive]") {
  Archive archive;
  archive.options.dry_run = true;
  const RunReport report = archive.run();
  CHECK(report.count(ItemState::to_do) == 4);
  CHECK(report.items[0].why == "new");
  CHECK(fs::is_empty(archive.dir / "out"));
}

TEST_CASE("a failing item is tried twice, told, and does not stop the rest", "[archive]") {
  Archive archive;
  fs::remove(archive.input("b"));
  fs::create_directories(archive.dir / "out" / "c.tif");  // cannot be replaced by a file
  const RunReport report = archive.run();
  CHECK(report.count(ItemState::done) == 2);
  REQUIRE(report.count(ItemState::failed) == 2);
  CHECK_THAT(report.items[1].why, Catch::Contains("in/b"));
  CHECK_THAT(report.items[2].why, Catch::Contains("is a folder"));
  CHECK(archive.worked["c"] == 2);
  fs::remove(archive.dir / "out" / "c.tif");
  archive.write("b", "here again");
  CHECK(archive.run().count(ItemState::done) == 2);
}

TEST_CASE("inputs that change under the work are noticed", "[archive]") {
  Archive archive(1);
  int times = 0;
  const auto report = run_archive(archive.items, archive.options, [&](const ArchiveItem& item) {
    auto done = archive.work(item);
    if (++times == 1) archive.write("a", "replaced meanwhile");
    return done;
  });
  REQUIRE(report);
  CHECK(times == 2);
  CHECK(report->items[0].state == ItemState::done);
  CHECK(test::get_file(archive.dir / "out" / "a.tif") == "replaced meanwhilewidth 64");
}

TEST_CASE("a stop leaves the rest to do, and the next run goes on", "[archive]") {
  Archive archive;
  const auto report = run_archive(
      archive.items, archive.options, [&](const ArchiveItem& item) { return archive.work(item); },
      [](const ItemOutcome& item, int, int) { return item.name != "b"; });
  REQUIRE(report);
  CHECK(report->stopped);
  CHECK(report->count(ItemState::done) == 2);
  CHECK(report->count(ItemState::to_do) == 2);
  CHECK(report->items[3].why == "the run was stopped");
  CHECK(archive.run().count(ItemState::done) == 2);
}

TEST_CASE("a second run on the same folder is refused", "[archive]") {
  Archive archive(1);
  std::string refused;
  const auto report = run_archive(archive.items, archive.options, [&](const ArchiveItem& item) {
    const auto second = run_archive(archive.items, archive.options, [](const ArchiveItem&) {
      return Result<std::vector<std::string>>(std::vector<std::string>{});
    });
    refused = second ? "" : second.error().line();
    return archive.work(item);
  });
  REQUIRE(report);
  CHECK_THAT(refused, Catch::Contains("another run works on this folder"));
}

TEST_CASE("parts share the work, each item once; a whole run then finds all done", "[archive]") {
  Archive archive(9);
  int done = 0;
  for (int part = 1; part <= 3; ++part) {
    archive.options.part = part;
    archive.options.parts = 3;
    const RunReport report = archive.run();
    done += report.count(ItemState::done);
    CHECK(report.items.size() < 9);
  }
  CHECK(done == 9);
  archive.options.part = archive.options.parts = 1;
  CHECK(archive.run().count(ItemState::unchanged) == 9);
}

TEST_CASE("a torn or damaged journal costs work, never correctness", "[archive]") {
  CAPTURE(seed());
  Archive archive;
  archive.run();
  const fs::path journal = archive.dir / "out" / ".restitch" / "journal.log";
  const std::string whole = test::get_file(journal);
  test::Random random(51);
  int cuts = 0;
  for (int i = 0; i < 60; ++i, ++cuts) {
    std::string torn = whole;
    const auto at = static_cast<std::size_t>(random.integer(0, static_cast<int>(whole.size()) - 1));
    if (random.chance(0.5)) {
      torn.resize(at);
    } else {
      torn[at] = static_cast<char>(torn[at] ^ (1 << random.integer(0, 7)));
    }
    test::put_file(journal, torn);
    const RunReport report = archive.run();
    CHECK(report.count(ItemState::failed) == 0);
    CHECK(report.count(ItemState::done) + report.count(ItemState::unchanged) == 4);
    CHECK(report.damaged_lines <= 2);
    for (const ArchiveItem& item : archive.items) {
      CHECK(test::get_file(item.outputs[0]) == "pixels of " + item.name + item.settings);
    }
  }
  CHECK(cuts == 60);
}

TEST_CASE("what a kill left behind is cleared, what is not ours stays", "[archive]") {
  Archive archive(2);
  const fs::path out = archive.dir / "out";
  test::put_file(out / ".a.tif.4711-0.partial", "half");
  test::put_file(out / ".mine.partial", "mine");
  archive.options.dry_run = true;
  archive.run();
  CHECK(fs::exists(out / ".a.tif.4711-0.partial"));
  archive.options.dry_run = false;
  archive.run();
  CHECK_FALSE(fs::exists(out / ".a.tif.4711-0.partial"));
  CHECK(fs::exists(out / ".mine.partial"));
}

TEST_CASE("what an older program wrote is known by the journal, and made again", "[archive]") {
  Archive archive(2);
  archive.run();
  // A copy without what the file system notes of it.
  const fs::path output = archive.output("a");
  const std::string bytes = test::get_file(output);
  fs::remove(output);
  test::put_file(output, bytes);
  archive.items[0].settings = "width 128";
  CHECK(archive.run().items[0].state == ItemState::done);
  CHECK(archive.outputs_are_right());
}

TEST_CASE("a folder that cannot be written is refused before any work", "[archive]") {
  Archive archive(1);
  test::put_file(archive.dir / "file", "no folder");
  archive.options.folder = archive.dir / "file";
  const auto report = run_archive(archive.items, archive.options,
                                  [&](const ArchiveItem& item) { return archive.work(item); });
  REQUIRE_FALSE(report);
  CHECK_THAT(report.error().line(),
             Catch::Contains("lock") && Catch::Contains("cannot be written"));
  CHECK(archive.worked.empty());
}

TEST_CASE("several items at once end as one after the other", "[archive]") {
  Archive archive(9);
  archive.options.at_once = 4;
  std::atomic<int> failures = 0;
  const ItemWork work = [&](const ArchiveItem& item) -> Result<std::vector<std::string>> {
    if (item.name == "e") {
      ++failures;
      return fail({.kind = ErrorKind::user_input, .where = "e", .field = {}, .what = "is bad"});
    }
    if (auto done = write_file(item.outputs.front(), "made of " + item.name); !done) {
      return tl::unexpected(done.error());
    }
    return std::vector<std::string>{"a finding of " + item.name};
  };
  std::atomic<int> telling = 0;
  std::vector<int> counts;
  const auto run = [&] {
    counts.clear();
    auto report =
        run_archive(archive.items, archive.options, work, [&](const ItemOutcome&, int at, int of) {
          CHECK(++telling == 1);
          CHECK(of == 9);
          counts.push_back(at);
          --telling;
          return true;
        });
    if (!report) FAIL(report.error().line());
    return std::move(*report);
  };
  const RunReport first = run();
  CHECK(counts == std::vector<int>{1, 2, 3, 4, 5, 6, 7, 8, 9});
  CHECK(failures == 2);
  REQUIRE(first.items.size() == 9);
  for (std::size_t i = 0; i < first.items.size(); ++i) {
    CAPTURE(i);
    CHECK(first.items[i].name == archive.items[i].name);
    CHECK(first.items[i].state == (i == 4 ? ItemState::failed : ItemState::done));
  }
  CHECK(first.items[8].findings == std::vector<std::string>{"a finding of i"});
  // The journal holds all of it.
  archive.options.at_once = 1;
  CHECK(run().count(ItemState::unchanged) == 8);
}

TEST_CASE("a run of several at once that is told to stop begins nothing more", "[archive]") {
  Archive archive(9);
  archive.options.at_once = 3;
  std::atomic<int> begun = 0;
  const ItemWork work = [&](const ArchiveItem& item) -> Result<std::vector<std::string>> {
    ++begun;
    if (auto done = write_file(item.outputs.front(), "made of " + item.name); !done) {
      return tl::unexpected(done.error());
    }
    return std::vector<std::string>{};
  };
  const auto report = run_archive(archive.items, archive.options, work,
                                  [](const ItemOutcome&, int, int) { return false; });
  REQUIRE(report);
  CHECK(report->stopped);
  CHECK(report->items.size() == 9);
  CHECK(report->count(ItemState::done) == begun);
  CHECK(report->count(ItemState::to_do) == 9 - begun);
  CHECK(begun <= 3);
}

TEST_CASE("what earlier runs wrote and no item makes any more is told", "[archive]") {
  Archive archive;
  CHECK(archive.run().left_behind.empty());
  CHECK(archive.run().left_behind.empty());
  // b is renamed, and the input of c vanishes: what is there of c may still be its own.
  const fs::path old = archive.items[1].outputs.front();
  archive.items[1].name = "renamed";
  archive.items[1].outputs = {archive.dir / "out" / "renamed.tif"};
  fs::remove(archive.items[2].inputs.front());
  const RunReport renamed = archive.run();
  CHECK(renamed.items[1].state == ItemState::failed);
  CHECK(renamed.left_behind == std::vector<fs::path>{old});
  CHECK(archive.run().left_behind == std::vector<fs::path>{old});
  fs::remove(old);
  CHECK(archive.run().left_behind.empty());
}
