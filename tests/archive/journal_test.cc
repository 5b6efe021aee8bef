// A journal that somebody else wrote, replaced or damaged.

#include "jobs/archive/journal.h"

#include <cstdlib>
#include <exception>
#include <filesystem>
#include <sstream>
#include <vector>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <sys/stat.h>

#include "jobs/archive/folder_lock.h"
#include "jobs/archive/run.h"
#include "tests/archive/copies.h"
#include "tests/fuzz/kept_seeds.h"
#include "tests/support/random.h"

using namespace seamwright;
using test::Archive;
using test::seed;

namespace fs = std::filesystem;

namespace {

std::string refusal(Archive& archive) {
  const auto report = run_archive(archive.items, archive.options,
                                  [&](const ArchiveItem& item) { return archive.work(item); });
  return report ? std::string("went on") : report.error().line();
}

std::vector<std::string> entries_of(const std::string& journal) {
  std::istringstream lines(journal);
  std::vector<std::string> entries;
  for (std::string line; std::getline(lines, line);) entries.push_back(line.substr(17));
  return entries;
}

// Entries of the journals that are kept for this, whatever runs wrote them.
std::vector<std::vector<std::string>> kept_entries() {
  std::vector<std::vector<std::string>> kept;
  for (const auto& [name, journal] : test::kept_seeds("journals")) {
    kept.push_back(entries_of(journal));
  }
  return kept;
}

// A value of another kind, or an odd one of the same.
nlohmann::json odd_value(test::Random& random) {
  switch (random.integer(0, 10)) {
    case 0:
      return nullptr;
    case 1:
      return random.chance(0.5);
    case 2:
      return -random.integer(0, 1000);
    case 3:
      return random.bits();
    case 4:
      return random.normal(1e300);
    case 5:
      return "";
    case 6:
      return "../../" + std::string(static_cast<std::size_t>(random.integer(0, 300)), 'x');
    case 7:
      return nlohmann::json::array();
    case 8:
      return nlohmann::json::array({nlohmann::json::array({1, "a", nullptr}), 2});
    case 9:
      return nlohmann::json::object();
    default:
      return nlohmann::json{{"file", 1}, {"bytes", "2"}, {"sha256", nullptr}};
  }
}

// Replaces or removes one value somewhere in it; false where there was none to take.
void change_one_value(nlohmann::json& entry, test::Random& random) {
  nlohmann::json* at = &entry;
  while (at->is_structured() && !at->empty()) {
    auto next = at->begin();
    std::advance(next, random.integer(0, static_cast<int>(at->size()) - 1));
    if (next->is_structured() && random.chance(0.6)) {
      at = &*next;
    } else if (random.chance(0.2)) {
      at->erase(next);
      return;
    } else {
      *next = odd_value(random);
      return;
    }
  }
  *at = odd_value(random);
}

// One line of the journal is damaged; its checksum may be right all the same.
std::string damaged(const std::vector<std::string>& entries, test::Random& random) {
  std::vector<std::string> lines;
  for (const std::string& entry : entries) lines.push_back(test::journal_line(entry));
  const auto at = static_cast<std::size_t>(random.integer(0, static_cast<int>(entries.size()) - 1));
  std::string entry = entries[at];
  const auto somewhere = [&](const std::string& text) {
    return static_cast<std::size_t>(random.integer(0, static_cast<int>(text.size()) - 1));
  };
  switch (random.integer(0, 4)) {
    case 0:
    case 1: {  // other kinds
      auto json = nlohmann::json::parse(entry, nullptr, false);
      if (json.is_discarded()) break;  // a kept one, as it is
      const int times = random.integer(1, 3);
      for (int i = 0; i < times; ++i) change_one_value(json, random);
      lines[at] = test::journal_line(json.dump());
      break;
    }
    case 2:  // cut short
      lines[at] = test::journal_line(entry.substr(0, somewhere(entry)));
      break;
    case 3: {  // a bit, under a right checksum
      const std::size_t byte = somewhere(entry);
      entry[byte] = static_cast<char>(entry[byte] ^ (1 << random.integer(0, 7)));
      lines[at] = test::journal_line(entry);
      break;
    }
    default: {  // a bit anywhere in the line
      const std::size_t byte = somewhere(lines[at]);
      lines[at][byte] = static_cast<char>(lines[at][byte] ^ (1 << random.integer(0, 7)));
      break;
    }
  }
  std::string journal;
  for (const std::string& line : lines) journal += line;
  return journal;
}

int fuzz_count() {
  const char* given = std::getenv("SEAMWRIGHT_JOURNAL_FUZZ");
  return given != nullptr ? std::atoi(given) : 400;
}

}  // namespace

TEST_CASE("a journal is not followed through a symbolic link", "[archive]") {
  Archive archive(1);
  test::put_file(archive.dir / "mine", "a letter\n");
  const fs::path own = archive.dir / "out" / ".restitch";
  SECTION("of its file") {
    fs::create_directories(own);
    const std::string name = GENERATE("journal.log", "lock", "journal-2-of-3.log");
    fs::create_symlink(archive.dir / "mine", own / name);
    CHECK_THAT(refusal(archive), Catch::Contains("symbolic link") && Catch::Contains(name));
  }
  SECTION("to nowhere") {
    fs::create_directories(own);
    fs::create_symlink(archive.dir / "new", own / "journal.log");
    CHECK_THAT(refusal(archive), Catch::Contains("symbolic link"));
    CHECK_FALSE(fs::exists(archive.dir / "new"));
  }
  SECTION("of its folder") {
    fs::create_directories(archive.dir / "elsewhere");
    fs::create_directory_symlink(archive.dir / "elsewhere", own);
    CHECK_THAT(refusal(archive), Catch::Contains("symbolic link") && Catch::Contains(".restitch"));
    CHECK(fs::is_empty(archive.dir / "elsewhere"));
    test::put_file(archive.dir / "elsewhere" / "journal.log", "");
    archive.options.dry_run = true;
    CHECK_THAT(refusal(archive), Catch::Contains("symbolic link"));
  }
  SECTION("nor taken from a pipe") {
    fs::create_directories(own);
    REQUIRE(::mkfifo((own / "journal.log").c_str(), 0600) == 0);
    CHECK_THAT(refusal(archive), Catch::Contains("is not a plain file"));
    archive.options.dry_run = true;
    CHECK_THAT(refusal(archive), Catch::Contains("is not a plain file"));
  }
  CHECK(archive.worked.empty());
  CHECK(test::get_file(archive.dir / "mine") == "a letter\n");
}

TEST_CASE("lines of the wrong kinds are counted and left out", "[archive]") {
  Archive archive(2);
  archive.run();
  const std::string whole = test::get_file(archive.journal());
  int lines = 0;
  for (
      const std::string entry :
      {R"([])", R"(7)", R"({})", R"({"event":1})", R"({"event":"hash","file":{}})",
       R"({"event":"hash","file":"x","bytes":-1,"changed_ns":0,"status_ns":0,"inode":0,"sha256":"0"})",
       R"({"event":"begin","name":null})", R"({"event":"done","name":["a"]})",
       R"({"event":"done","name":"a","inputs":"","settings":"","outputs":{},"findings":[],"seconds":0})",
       R"({"event":"done","name":"a","inputs":"","settings":"","outputs":[1],"findings":[],"seconds":0})",
       R"({"event":"done","name":"a","inputs":"","settings":"","outputs":[],"findings":[2],"seconds":0})",
       R"({"event":"done","name":"a","inputs":"","settings":"","outputs":[],"findings":[],"seconds":"0"})",
       R"({"event":"failed","name":"a","error":3})", R"({"event":"hash",)"}) {
    CAPTURE(entry);
    test::put_file(archive.journal(), whole + test::journal_line(entry));
    const RunReport report = archive.run();
    CHECK(report.damaged_lines == 1);
    CHECK(report.count(ItemState::unchanged) == 2);
    ++lines;
  }
  CHECK(lines == 14);
  // What a later version may say is no damage.
  test::put_file(archive.journal(), whole + test::journal_line(R"({"event":"moved","to":7})"));
  CHECK(archive.run().damaged_lines == 0);
}

TEST_CASE("damage to a journal is told once", "[archive]") {
  Archive archive(2);
  archive.run();
  const auto damage = [&] {
    test::put_file(archive.journal(), test::get_file(archive.journal()) + "no line of ours\n");
  };
  damage();
  archive.options.dry_run = true;  // keeps nothing in mind
  CHECK(archive.run().damaged_lines == 1);
  archive.options.dry_run = false;
  CHECK(archive.run().damaged_lines == 1);
  CHECK(archive.run().damaged_lines == 0);
  damage();
  damage();
  CHECK(archive.run().damaged_lines == 2);
  CHECK(archive.run().damaged_lines == 0);
  // Another part's journal, which only its own runs write.
  const fs::path other = archive.journal().parent_path() / "journal-2-of-3.log";
  test::put_file(other, "neither\n");
  CHECK(archive.run().damaged_lines == 1);
  const RunReport last = archive.run();
  CHECK(last.damaged_lines == 0);
  CHECK(last.count(ItemState::unchanged) == 2);
}

TEST_CASE("what was done without an item's outputs does not stand for it", "[archive]") {
  Archive archive(1);
  archive.run();
  std::string journal;
  for (const std::string& text : entries_of(test::get_file(archive.journal()))) {
    auto entry = nlohmann::json::parse(text);
    if (entry.at("event") == "done") entry["outputs"] = nlohmann::json::array();
    journal += test::journal_line(entry.dump());
  }
  test::put_file(archive.journal(), journal);
  fs::remove(archive.output("a"));
  CHECK(archive.run().items[0].why == "output missing");
  CHECK(archive.outputs_are_right());
}

TEST_CASE("no damage to a journal is a fault of the program, or of its outputs", "[archive]") {
  CAPTURE(seed());
  Archive archive(2);
  archive.an_hour_later();
  archive.run();
  archive.run();
  const auto entries = entries_of(test::get_file(archive.journal()));
  REQUIRE(entries.size() >= 8);
  const auto kept = kept_entries();
  test::Random random(52);
  const int wanted = fuzz_count();
  int cases = 0, worked = 0, left_out = 0;
  for (; cases < wanted; ++cases) {
    // One in four begins with what other runs said.
    std::vector<std::string> lines;
    if (cases % 4 == 0) lines = kept[static_cast<std::size_t>(cases / 4) % kept.size()];
    lines.insert(lines.end(), entries.begin(), entries.end());
    const std::string journal = damaged(lines, random);
    CAPTURE(cases, journal);
    test::put_file(archive.journal(), journal);
    try {
      const RunReport report = archive.run();
      REQUIRE(report.count(ItemState::failed) == 0);
      REQUIRE(report.count(ItemState::done) + report.count(ItemState::unchanged) == 2);
      left_out += report.damaged_lines > 0 ? 1 : 0;
    } catch (const std::exception& fault) {
      FAIL(fault.what());
    }
    worked += archive.worked.empty() ? 0 : 1;
    REQUIRE(archive.outputs_are_right());
  }
  CHECK(cases == wanted);
  CHECK(left_out > wanted / 4);  // the damage was real
  CHECK(worked > 0);
}
