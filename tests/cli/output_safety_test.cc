// No output of any command lands on a file that is read or that somebody else made. The outputs
// come from the commands' own help, so that a new option cannot be forgotten.

#include <filesystem>
#include <map>
#include <regex>
#include <set>
#include <sstream>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "imaging/read_image.h"
#include "imaging/write_image.h"
#include "tests/cli/run.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;
using test::run;

namespace {

namespace fs = std::filesystem;

constexpr const char* kCommands[] = {"learn",     "stitch", "touch",    "check",
                                     "merge",     "finish", "restitch", "inspect",
                                     "workbench", "import", "demo",     "tour"};

struct Option {
  std::string command;
  std::string name;
  std::string kind;  // "NEW-FILE", "TEXT", …
};

// What --help says: "  --out NEW-FILE REQUIRED   Panorama to write".
std::vector<Option> options_of(const std::string& command) {
  std::vector<Option> options;
  const std::regex line_form(R"(^  ([a-z-]+) ([A-Z][A-Z-]*)(:\S+)?( .*)?$)");
  std::istringstream help(run({command, "--help"}).out);
  for (std::string line; std::getline(help, line);) {
    std::smatch match;
    if (std::regex_match(line, match, line_form) && !match[3].matched) {
      options.push_back({command, match[1], match[2]});
    }
  }
  return options;
}

std::vector<Option> all_options() {
  std::vector<Option> all;
  for (const char* command : kCommands) {
    for (Option& option : options_of(command)) all.push_back(std::move(option));
  }
  return all;
}

/// A folder with everything that the commands read, and what each command needs at least.
class GuardedRoom {
 public:
  GuardedRoom() : shot(dir.path(), 320) {
    REQUIRE(run(shot.stitch(shot.at("room.tif"))).exit_code != 1);
    REQUIRE(fs::copy_file(shot.at("room.tif"), shot.at("floor.tif")));
    shot.write_shot("given.shot.yaml", std::nullopt);
    fs::create_directories(dir / "card");
    for (const char* lens : {"front", "back"}) {
      REQUIRE(fs::copy_file(shot.at(fmt::format("{}.tif", lens)),
                            dir / fmt::format("card/hall_{}.tif", lens)));
    }
  }

  std::vector<std::string> words(const std::string& command) const {
    const std::string body = shot.template_file();
    const std::string pattern = "(?<shot>hall)_(?<lens>front|back)\\.tif";
    const std::map<std::string, std::vector<std::string>> least = {
        {"learn", {"--shot", shot.front(), shot.back(), "--out", shot.at("new.template.yaml")}},
        {"stitch", {"--template", body, shot.front(), shot.back(), "--out", shot.at("new.tif")}},
        {"touch",
         {"--template", body, shot.front(), shot.back(), "--tie", "0:310,160 1:10,160", "--out",
          shot.at("new.shot.yaml")}},
        {"check", {"--template", body, shot.front(), shot.back()}},
        {"merge", {(dir / "card").string(), "--out", shot.at("merged"), "--pattern", pattern}},
        {"finish", {shot.at("room.tif"), "--out", shot.at("new.tif")}},
        {"restitch",
         {(dir / "card").string(), "--template", body, "--out", shot.at("panoramas"), "--pattern",
          pattern, "--width", "256"}},
        {"import", {(dir / "card").string(), "--template", body, "--out", shot.at("house")}},
        {"demo", {"--frame", "64", "--shots", "library_1"}},
        {"tour",
         {shot.at("room.tif"), "--out", shot.at("newtour"), "--save", shot.at("new.tour.json")}}};
    return least.at(command);
  }

  /// The command with this option and value, in place of what it has already.
  std::vector<std::string> with(const Option& option, const std::string& value,
                                bool overwrite) const {
    std::vector<std::string> all = {option.command};
    const std::vector<std::string> least = words(option.command);
    for (std::size_t i = 0; i < least.size(); ++i) {
      if (least[i] == option.name) {
        ++i;
      } else {
        all.push_back(least[i]);
      }
    }
    // Many panoramas have no file of their own.
    if (option.command == "finish" && option.name == "--into") all.resize(2);
    if (option.name.starts_with("-")) all.push_back(option.name);
    all.push_back(value);
    if (overwrite) all.emplace_back("--overwrite");
    return all;
  }

  /// Every file's bytes, by its place in the folder.
  std::map<std::string, std::string> tree() const {
    std::map<std::string, std::string> files;
    for (const auto& entry : fs::recursive_directory_iterator(dir.path())) {
      if (!entry.is_regular_file()) continue;
      files[fs::relative(entry.path(), dir.path()).string()] = test::get_file(entry.path());
    }
    return files;
  }

  test::ScratchDir dir;
  test::SmallShot shot;
};

void check_untouched(const GuardedRoom& room, const std::vector<std::string>& words) {
  const auto before = room.tree();
  const auto ran = run(words);
  INFO(fmt::format("{}\n{}", fmt::join(words, " "), ran.err));
  CHECK(ran.exit_code == 1);
  const std::size_t last = ran.err.rfind('\n', ran.err.size() - 2);
  CHECK(ran.err.substr(last == std::string::npos ? 0 : last + 1).starts_with("seamwright: "));
  const auto after = room.tree();
  CHECK(after.size() == before.size());
  CHECK((after == before));
}

// One file that goes into the folder that an option names; a new option is added here.
const std::map<std::string, std::string> kInFolder = {
    {"learn --report", "report.html"},   {"stitch --save-ribbon", "lens0-lens1.seam.png"},
    {"finish --faces", "left.tif"},      {"finish --into", "room.tif"},
    {"finish --tiles", "tiles.json"},    {"merge --out", "hall_front.tif"},
    {"restitch --out", "hall.tif"},      {"import --out", "house.run.yaml"},
    {"demo folder", "truth/poses.json"}, {"tour --out", "index.html"}};

}  // namespace

TEST_CASE("every option with a value says what it is to a person's files", "[safety]") {
  // Words that are no files.
  const std::set<std::string> words = {"--width",    "--pattern", "--body",  "--tie",  "--part",
                                       "--vertical", "--shots",   "--names", "--title"};
  int outputs = 0;
  for (const Option& option : all_options()) {
    INFO(option.command << " " << option.name << " " << option.kind);
    if (option.kind == "TEXT") CHECK(words.contains(option.name));
    if (option.kind == "NEW-FILE" || option.kind == "NEW-FOLDER" || option.kind == "SHOT-FILE") {
      ++outputs;
    }
  }
  CHECK(outputs == 25);
}

TEST_CASE("no output file lands on an input or on somebody else's file", "[safety]") {
  const GuardedRoom room;
  test::put_file(room.dir / "theirs.tif", "somebody else's");
  test::put_file(room.dir / "theirs.shot.yaml", "somebody else's");
  fs::create_symlink(room.shot.front(), room.dir / "link.tif");
  fs::create_symlink(room.shot.front(), room.dir / "link.shot.yaml");
  fs::create_hard_link(room.shot.back(), room.dir / "second-name.tif");
  int cases = 0;
  for (const Option& option : all_options()) {
    if (option.kind == "SHOT-FILE") {
      for (const char* name : {"link.shot.yaml", "theirs.shot.yaml"}) {
        check_untouched(room, room.with(option, room.shot.at(name), true));
        ++cases;
      }
    }
    if (option.kind != "NEW-FILE") continue;
    // What this very command reads: refused, allowed or not.
    std::vector<std::string> read = {room.shot.front(), room.shot.at("second-name.tif"),
                                     room.shot.at("link.tif")};
    if (option.command == "finish" || option.command == "tour") read = {room.shot.at("room.tif")};
    if (option.command == "restitch") {
      read = {(room.dir / "card/hall_front.tif").string(), room.shot.template_file()};
    }
    for (const std::string& input : read) {
      for (const bool overwrite : {false, true}) {
        check_untouched(room, room.with(option, input, overwrite));
        ++cases;
      }
    }
    check_untouched(room, room.with(option, room.shot.at("theirs.tif"), false));
    ++cases;
  }
  CHECK(cases == 76);
}

TEST_CASE("no output folder takes a file of somebody else's", "[safety]") {
  const GuardedRoom room;
  int cases = 0;
  for (const Option& option : all_options()) {
    if (option.kind != "NEW-FOLDER") continue;
    const std::string key = option.command + " " + option.name;
    INFO(key);
    REQUIRE(kInFolder.contains(key));
    const std::string folder = room.shot.at(fmt::format("folder{}", cases));
    const fs::path theirs = fs::path(folder) / kInFolder.at(key);
    fs::create_directories(theirs.parent_path());
    if (option.command == "demo") fs::create_directories(fs::path(folder) / "frames");
    test::put_file(theirs, "somebody else's");
    if (option.command == "restitch" || option.name == "--into") {
      // An archive goes on with its other shots and names this one.
      const auto ran = run(room.with(option, folder, false));
      CHECK(ran.exit_code == 1);  // its only shot
      CHECK_THAT(ran.err, Catch::Contains("not as this program wrote it"));
      CHECK(test::get_file(theirs) == "somebody else's");
    } else {
      check_untouched(room, room.with(option, folder, false));
    }
    ++cases;
  }
  CHECK(cases == static_cast<int>(kInFolder.size()));
}

TEST_CASE("a shot's panorama does not land on another shot's frame", "[safety]") {
  const test::ScratchDir dir;
  const test::SmallShot shot(dir.path());
  fs::create_directories(dir / "card");
  // The panorama of the shot "b" would be b.tif, which is the back frame of shot "a".
  for (const auto& [from, to] :
       std::map<std::string, std::string>{{"front.tif", "a.tif"}, {"back.tif", "b.tif"}}) {
    fs::copy_file(shot.at(from), dir / ("card/" + to));
  }
  fs::copy_file(shot.front(), dir / "card/b_front.tif");
  fs::copy_file(shot.back(), dir / "card/b_back.tif");
  shot.write_shot("a.shot.yaml", std::nullopt);
  const std::string frame = test::get_file(dir / "card/b.tif");
  for (const bool overwrite : {false, true}) {
    std::vector<std::string> words = {"restitch",   (dir / "card").string(),
                                      "--template", shot.template_file(),
                                      "--out",      (dir / "card").string(),
                                      "--width",    "256",
                                      "--pattern",  "(?<shot>b)_(?<lens>front|back)\\.tif"};
    if (overwrite) words.emplace_back("--overwrite");
    const auto ran = run(words);
    INFO(ran.err);
    CHECK(ran.exit_code != 0);
    CHECK(test::get_file(dir / "card/b.tif") == frame);
  }
}

TEST_CASE("a panorama is written again until somebody retouches it", "[safety]") {
  const test::ScratchDir dir;
  const test::SmallShot shot(dir.path());
  const auto words = shot.stitch(shot.at("room.tif"));
  REQUIRE(run(words).exit_code != 1);
  REQUIRE(run(words).exit_code != 1);
  auto picture = read_image(shot.at("room.tif"));
  REQUIRE(picture);
  std::string retouched = test::get_file(shot.at("room.tif"));
  retouched[retouched.size() / 2] = static_cast<char>(~retouched[retouched.size() / 2]);
  test::put_file(shot.at("room.tif"), retouched);
  test::check_refused(run(words), "--overwrite");
  CHECK(test::get_file(shot.at("room.tif")) == retouched);
  auto allowed = words;
  allowed.emplace_back("--overwrite");
  CHECK(run(allowed).exit_code != 1);
  CHECK(test::get_file(shot.at("room.tif")) != retouched);
}

TEST_CASE("a touch updates its shot file and keeps the version before", "[safety]") {
  const test::ScratchDir dir;
  const test::SmallShot shot(dir.path());
  shot.write_shot("s.shot.yaml", std::nullopt);
  const std::string before = test::get_file(shot.at("s.shot.yaml"));
  const auto ran = run({"touch", "--template", shot.template_file(), shot.at("s.shot.yaml"),
                        "--tie", "0:155,80 1:5,80", "--out", shot.at("s.shot.yaml")});
  INFO(ran.err);
  REQUIRE(ran.exit_code != 1);
  CHECK(test::get_file(shot.at("s.shot.yaml")) != before);
  CHECK(test::get_file(shot.at("s.shot.yaml.previous")) == before);
}
