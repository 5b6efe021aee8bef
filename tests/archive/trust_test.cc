// What a run believes without reading it, and what brings a lie to light.

#include <chrono>
#include <filesystem>
#include <set>
#include <sstream>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "base/file.h"
#include "base/file_guard.h"
#include "jobs/archive/run.h"
#include "jobs/archive/sample.h"
#include "jobs/archive/stamp.h"
#include "tests/archive/copies.h"

using namespace seamwright;
using test::Archive;

namespace fs = std::filesystem;

namespace {

// Other bytes of the same number in the same file, its time of change put back.
void flip_a_byte(const fs::path& file) {
  const auto time = fs::last_write_time(file);
  const auto before = stamp_of(file);
  std::string bytes = test::get_file(file);
  bytes[2] = static_cast<char>(bytes[2] ^ 1);
  // Again where the file system's clock has not moved since it was written last.
  do {
    std::fstream out(file, std::ios::binary | std::ios::in | std::ios::out);
    out << bytes;
    out.close();
    fs::last_write_time(file, time);
  } while (stamp_of(file) == before);
}

/// What a decaying disk does: other bytes under the very same stamp. A test cannot set a file's
/// status time back, so the journal is told that the file looked like this when it was read.
void decay(const Archive& archive, const fs::path& file) {
  flip_a_byte(file);
  const auto stamp = stamp_of(file);
  REQUIRE(stamp);
  std::istringstream lines(test::get_file(archive.journal()));
  std::string rewritten;
  int found = 0;
  for (std::string line; std::getline(lines, line);) {
    auto entry = nlohmann::json::parse(line.substr(17));
    if (entry.at("event") == "hash" && entry.at("file") == file.string()) {
      entry["changed_ns"] = stamp->changed_ns;
      entry["status_ns"] = stamp->status_ns;
      entry["inode"] = stamp->inode;
      ++found;
    }
    rewritten += test::journal_line(entry.dump());
  }
  REQUIRE(found > 0);
  test::put_file(archive.journal(), rewritten);
}

// Run twice: what was written young by the first one is remembered by the second.
void settle(Archive& archive) {
  archive.an_hour_later();
  archive.run();
  REQUIRE(archive.run().count(ItemState::unchanged) == static_cast<int>(archive.items.size()));
}

}  // namespace

TEST_CASE("frames of equal size and time that took each other's name are seen", "[archive]") {
  Archive archive(2);
  fs::last_write_time(archive.input("b"), fs::last_write_time(archive.input("a")));
  settle(archive);
  fs::rename(archive.input("a"), archive.dir / "in" / "x");
  fs::rename(archive.input("b"), archive.input("a"));
  fs::rename(archive.dir / "in" / "x", archive.input("b"));
  const RunReport report = archive.run();
  CHECK(report.items[0].why == "inputs changed");
  CHECK(report.items[1].why == "inputs changed");
  CHECK(archive.outputs_are_right());
}

TEST_CASE("bytes that were changed with their time kept are seen, in frames and in outputs",
          "[archive]") {
  Archive archive(3);
  settle(archive);
  flip_a_byte(archive.input("a"));
  flip_a_byte(archive.output("b"));
  const FileGuard allowed({.overwrite = true});
  const RunReport report = archive.run();
  CHECK(report.items[0].why == "inputs changed");
  CHECK(report.items[1].why == "output changed");
  CHECK(report.items[2].state == ItemState::unchanged);
  CHECK(archive.outputs_are_right());
}

TEST_CASE("a stamp that moved costs a reading, never the work", "[archive]") {
  Archive archive(3);
  settle(archive);
  const auto now = fs::file_time_type::clock::now();
  fs::last_write_time(archive.input("a"), now - std::chrono::minutes(7));
  fs::last_write_time(archive.output("a"), now - std::chrono::minutes(7));
  // A copy that took the place of the first: another inode, other times.
  for (const fs::path& file : {archive.input("b"), archive.output("b")}) {
    fs::copy_file(file, archive.dir / "copy");
    fs::rename(archive.dir / "copy", file);
  }
  const RunReport report = archive.run();
  CHECK(report.count(ItemState::unchanged) == 3);
  CHECK(report.decayed.empty());
  CHECK(archive.worked.empty());
}

TEST_CASE("an output that decayed is found by reading all, and made again", "[archive]") {
  Archive archive(3);
  settle(archive);
  decay(archive, archive.output("b"));
  CHECK(archive.run().count(ItemState::unchanged) == 3);  // trusted: that is the price
  archive.options.read_all = true;
  archive.options.dry_run = true;
  CHECK(archive.run().items[1].why == "output changed");
  archive.options.dry_run = false;
  const RunReport report = archive.run();
  CHECK(report.items[1].why == "output changed");
  CHECK(report.read_again == 3);
  CHECK(report.decayed == std::vector<fs::path>{archive.output("b")});
  CHECK(archive.worked.size() == 1);
  CHECK(archive.outputs_are_right());
  const RunReport after = archive.run();
  CHECK(after.count(ItemState::unchanged) == 3);
  CHECK(after.decayed.empty());
}

TEST_CASE("an output that decayed is found by the samples of a few runs", "[archive]") {
  Archive archive(5);
  settle(archive);
  archive.options.sample_every = 2;  // three of five at a time
  decay(archive, archive.output("d"));
  int made_again = 0, read = 0;
  for (int i = 0; i < 2; ++i) {
    const RunReport report = archive.run();
    made_again += archive.worked["d"];
    read += report.read_again;
    CHECK(report.count(ItemState::failed) == 0);
  }
  CHECK(made_again == 1);
  CHECK(read >= 5);
  CHECK(archive.outputs_are_right());
}

TEST_CASE("what the journal says was written may be replaced, what a person made of it may not",
          "[archive]") {
  Archive archive(3);
  settle(archive);
  const FileGuard strict({});
  // As an older program left it: nothing but the journal knows.
  const std::string whole = test::get_file(archive.output("a"));
  fs::remove(archive.output("a"));
  test::put_file(archive.output("a"), whole);
  test::put_file(archive.output("b"), "retouched");
  for (ArchiveItem& item : archive.items) item.settings = "width 128";
  const RunReport report = archive.run();
  CHECK(report.items[0].state == ItemState::done);
  CHECK(report.items[1].state == ItemState::failed);
  CHECK(report.items[2].state == ItemState::done);
  CHECK(test::get_file(archive.output("b")) == "retouched");
}

TEST_CASE("an output that decayed may be replaced", "[archive]") {
  Archive archive(1);
  settle(archive);
  const FileGuard strict({});
  decay(archive, archive.output("a"));
  archive.options.read_all = true;
  CHECK(archive.run().items[0].state == ItemState::done);
  CHECK(archive.outputs_are_right());
}

TEST_CASE("a frame that decayed fails its item, whose output stays", "[archive]") {
  Archive archive(2);
  settle(archive);
  const std::string good = test::get_file(archive.output("a"));
  decay(archive, archive.input("a"));
  archive.options.read_all = true;
  for (int i = 0; i < 2; ++i) {
    const RunReport report = archive.run();
    REQUIRE(report.items[0].state == ItemState::failed);
    CHECK_THAT(report.items[0].why, Catch::Contains("in/a") && Catch::Contains("backup"));
    CHECK(report.items[1].state == ItemState::unchanged);
    CHECK(test::get_file(archive.output("a")) == good);
  }
  // "It is right as it is."
  const auto before = stamp_of(archive.input("a"));
  while (stamp_of(archive.input("a")) == before) {
    fs::last_write_time(archive.input("a"), fs::file_time_type::clock::now());
  }
  CHECK(archive.run().items[0].why == "inputs changed");
  CHECK(archive.outputs_are_right());
}

TEST_CASE("samples come round, and are the same for the same names and time", "[archive]") {
  std::vector<std::string> names;
  for (int i = 0; i < 103; ++i) names.push_back("room" + std::to_string(i));
  std::set<std::string> seen;
  for (int time = 0; time < 35; ++time) {
    const auto sample = sample_of(names, 50, time);
    CHECK(sample.size() == 3);
    CHECK(sample == sample_of({names.rbegin(), names.rend()}, 50, time));
    seen.insert(sample.begin(), sample.end());
  }
  CHECK(seen.size() == 103);
  CHECK(sample_of({"a"}, 50, 7).size() == 1);
  CHECK(sample_of(names, 0, 0).empty());
  CHECK(sample_of({}, 50, 0).empty());
}

// As the program wrote it before it kept the status time and the inode: changed_ns counts from
// another epoch there.
TEST_CASE("a journal of an older program is understood", "[archive]") {
  Archive archive(2);
  std::string journal;
  for (const ArchiveItem& item : archive.items) {
    const std::string in = test::get_file(item.inputs[0]);
    const std::string out = in + item.settings;
    test::put_file(item.outputs[0], out);
    journal +=
        test::journal_line(R"({"bytes":)" + std::to_string(in.size()) +
                           R"(,"changed_ns":-4738305600000000000,"event":"hash","file":")" +
                           item.inputs[0].string() + R"(","sha256":")" + sha256(in) + R"("})");
    journal += test::journal_line(R"({"event":"begin","name":")" + item.name + R"("})");
    journal +=
        test::journal_line(R"({"event":"done","findings":["seen"],"inputs":")" +
                           sha256(sha256(in) + " " + item.name + "\n") + R"(","name":")" +
                           item.name + R"(","outputs":[{"bytes":)" + std::to_string(out.size()) +
                           R"(,"file":")" + item.name + R"(.tif","sha256":")" + sha256(out) +
                           R"("}],"seconds":0.25,"settings":")" + sha256(item.settings) + R"("})");
  }
  fs::create_directories(archive.journal().parent_path());
  test::put_file(archive.journal(), journal);
  archive.an_hour_later();
  const RunReport report = archive.run();
  CHECK(report.count(ItemState::unchanged) == 2);
  CHECK(report.damaged_lines == 0);
  CHECK(report.usual_seconds == 0.25);
  CHECK(report.items[0].findings == std::vector<std::string>{"seen"});
  CHECK(archive.worked.empty());
}

TEST_CASE("names that are not UTF-8 are remembered as they are", "[archive]") {
  Archive archive(2);
  const std::string odd = "caf\xE9 \x1b[2J \\x41";
  ArchiveItem& item = archive.items[0];
  item.name = odd;
  archive.write(odd, "pixels");
  item.inputs = {archive.input(odd)};
  item.outputs = {archive.output(odd)};
  settle(archive);
  CHECK(archive.run().count(ItemState::unchanged) == 2);
  const std::string journal = test::get_file(archive.journal());
  CHECK_THAT(journal, Catch::Contains(R"(caf\\xE9 \\x1B[2J \\x5Cx41.tif)"));
  // The frame's stamp was kept under its own name: nothing was learned again.
  CHECK(test::get_file(archive.journal()).find("\xEF\xBF\xBD") == std::string::npos);
}

TEST_CASE("what cannot even be begun is told and left out", "[archive]") {
  Archive archive(3);
  archive.items[1].failure = Error{.where = "b.shot.yaml", .what = "is broken"};
  for (const bool dry : {true, false}) {
    archive.options.dry_run = dry;
    const RunReport report = archive.run();
    CHECK(report.items[1].state == ItemState::failed);
    CHECK(report.items[1].why == "b.shot.yaml: is broken");
    CHECK(report.count(dry ? ItemState::to_do : ItemState::done) == 2);
    CHECK_FALSE(archive.worked.contains("b"));
  }
}
