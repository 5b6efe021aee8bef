// Every command that writes, struck at any instant by any signal that ends a program: what was
// there stays as it was, what is new is whole, and the next run ends the work and sweeps up.

#include <chrono>
#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "tests/cli/brackets_of_a_shot.h"
#include "tests/cli/run.h"
#include "tests/cli/strike.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;
using test::run;
using test::struck_after;

namespace {

namespace fs = std::filesystem;
using Clock = std::chrono::steady_clock;
using Tree = std::map<std::string, std::string>;

constexpr int kSignals[] = {SIGTERM, SIGHUP, SIGINT, SIGKILL};

bool is_hidden(const fs::path& relative) {
  return std::any_of(relative.begin(), relative.end(),
                     [](const fs::path& part) { return part.string().starts_with("."); });
}

/// The files below a folder that people see, by name; temporaries are counted apart.
Tree visible(const fs::path& folder) {
  Tree files;
  for (const auto& entry : fs::recursive_directory_iterator(folder)) {
    const fs::path relative = fs::relative(entry.path(), folder);
    if (entry.is_regular_file() && !is_hidden(relative)) {
      files[relative.string()] = test::get_file(entry.path());
    }
  }
  return files;
}

int partials(const fs::path& folder) {
  int count = 0;
  for (const auto& entry : fs::recursive_directory_iterator(folder)) {
    count += entry.path().string().ends_with(".partial") ? 1 : 0;
  }
  return count;
}

/// Inputs of all commands in `given`; each run works on a fresh copy, always at the same place.
class Desk {
 public:
  Desk() {
    fs::create_directories(given());
    const test::SmallShot shot(given(), 240);
    test::take_brackets(shot);  // into the folder card
    REQUIRE(run(shot.stitch(shot.at("room.tif"))).exit_code != 1);
    // Frames with enough to learn from.
    REQUIRE(run({"demo", (dir_ / "demo").string(), "--frame", "480", "--shots", "library_1",
                 "--no-truth", "--no-panoramas"})
                .exit_code == 0);
    for (const char* lens : {"front", "back"}) {
      fs::copy_file(dir_ / fmt::format("demo/frames/library_1_{}.tif", lens),
                    given() / fmt::format("library_{}.tif", lens));
    }
  }

  void lay() const {
    fs::remove_all(desk());
    fs::copy(given(), desk(), fs::copy_options::recursive);
  }
  [[nodiscard]] std::string at(const std::string& name) const { return (desk() / name).string(); }
  [[nodiscard]] fs::path desk() const { return dir_ / "desk"; }
  [[nodiscard]] fs::path given() const { return dir_ / "given"; }

 private:
  test::ScratchDir dir_{test::memory_folder()};
};

std::map<std::string, std::vector<std::string>> commands_of(const Desk& desk) {
  const std::string body = desk.at("T.template.yaml");
  const std::string front = desk.at("front.tif");
  const std::string back = desk.at("back.tif");
  return {
      {"learn",
       {"--shot", desk.at("library_front.tif"), desk.at("library_back.tif"), "--out",
        desk.at("new.template.yaml"), "--report", desk.at("report")}},
      {"stitch",
       {"--template", body, front, back, "--width", "384", "--out", desk.at("new.tif"), "--jpeg",
        desk.at("new.jpg"), "--layers", desk.at("layers.tif"), "--save-ribbon", desk.at("ribbon")}},
      {"touch",
       {"--template", body, front, back, "--tie", "0:232,120 1:8,120", "--out",
        desk.at("new.shot.yaml")}},
      {"check", {"--template", body, front, back, "--page", desk.at("check.html")}},
      {"merge", {desk.at("card"), "--out", desk.at("merged")}},
      {"finish",
       {desk.at("room.tif"), "--out", desk.at("finished.tif"), "--jpeg", desk.at("web.jpg"),
        "--exr", desk.at("light.exr"), "--faces", desk.at("faces"), "--tiles", desk.at("tiles")}},
      {"demo",
       {desk.at("house"), "--frame", "64", "--shots", "library_1", "--no-truth",
        "--no-panoramas"}}};
}

/// What a struck run left: nothing given is changed, nothing new is cut short.
void check_left(const Tree& left, const Tree& given, const Tree& wanted) {
  for (const auto& [name, bytes] : given) {
    CAPTURE(name);
    REQUIRE(left.contains(name));
    REQUIRE(left.at(name) == bytes);
  }
  for (const auto& [name, bytes] : left) {
    CAPTURE(name);
    REQUIRE(wanted.contains(name));
    REQUIRE(wanted.at(name) == bytes);
  }
}

/// A shot file that was whole when the signal came is kept as NAME.previous by the next touch.
Tree without_previous(Tree left, const Tree& wanted) {
  const std::string previous = "new.shot.yaml.previous";
  if (left.contains(previous)) {
    REQUIRE(wanted.contains("new.shot.yaml"));
    REQUIRE(left.at(previous) == wanted.at("new.shot.yaml"));
    left.erase(previous);
  }
  return left;
}

}  // namespace

TEST_CASE("a writing command that is struck at any instant leaves whole files", "[kill]") {
  if (test::program().empty()) return;
  const Desk desk;
  const Tree given = visible(desk.given());
  int runs = 0;
  for (const auto& [command, options] : commands_of(desk)) {
    CAPTURE(command);
    std::vector<std::string> words = {command};
    words.insert(words.end(), options.begin(), options.end());
    desk.lay();
    const auto begin = Clock::now();
    const auto undisturbed = run(words);
    const double whole_s = std::chrono::duration<double>(Clock::now() - begin).count();
    INFO(undisturbed.err);
    REQUIRE((undisturbed.exit_code == 0 || undisturbed.exit_code == 2));
    const Tree wanted = visible(desk.desk());
    REQUIRE(wanted.size() > given.size());

    int struck = 0;
    for (int i = 0; i < test::strikes(); ++i, ++runs) {
      const int signal = kSignals[i % 4];
      CAPTURE(signal, i);
      desk.lay();
      struck += struck_after(words, whole_s * (i + 0.5) / test::strikes(), signal) ? 1 : 0;
      check_left(visible(desk.desk()), given, wanted);
      // The next run ends the work: after each signal once in twenty strikes, at other instants.
      if (i % 5 != 0) continue;
      const auto resumed = run(words);
      INFO(resumed.err);
      REQUIRE(resumed.exit_code == undisturbed.exit_code);
      REQUIRE(without_previous(visible(desk.desk()), wanted) == wanted);
      REQUIRE(partials(desk.desk()) == 0);
    }
    CHECK(struck > 0);
  }
  CHECK(runs == 7 * test::strikes());
}
