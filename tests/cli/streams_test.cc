// A caller whose stdout or stderr cannot be written, or is closed.

#include <cstdlib>
#include <filesystem>

#include <catch2/catch.hpp>
#include <sys/wait.h>

#include "tests/cli/run.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;

namespace {

// Through a shell, which redirects as a person does.
int run_in_shell(const std::string& words) {
  const std::string line = "'" + test::program() + "' " + words;
  const int status = std::system(line.c_str());
  return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

std::string stitch_words(const test::SmallShot& shot) {
  std::string words;
  for (const std::string& word : shot.stitch(shot.at("room.tif"))) words += "'" + word + "' ";
  return words;
}

}  // namespace

TEST_CASE("a stderr that cannot be written costs nothing but the lines", "[streams]") {
  const test::ScratchDir dir;
  const test::SmallShot shot(dir.path());
  const int usual = run_in_shell(stitch_words(shot) + "2>/dev/null");
  const std::string panorama = test::get_file(shot.at("room.tif"));
  for (const char* where : {"2>/dev/full", "2>&-", ">&- 2>&-", "<&- >&- 2>&-"}) {
    INFO(where);
    std::filesystem::remove(shot.at("room.tif"));
    CHECK(run_in_shell(stitch_words(shot) + where) == usual);
    CHECK(test::get_file(shot.at("room.tif")) == panorama);
  }
  CHECK(run_in_shell("stitch --out 2>/dev/full") == 1);
}

TEST_CASE("with stderr closed no file takes its place", "[streams]") {
  const test::ScratchDir dir;
  const test::SmallShot shot(dir.path());
  std::filesystem::create_directory(dir / "card");
  for (const char* name : {"front.tif", "back.tif"}) {
    std::filesystem::copy_file(shot.at(name), dir / ("card/hall_" + std::string(name)));
  }
  const std::string words =
      "restitch '" + (dir / "card").string() + "' --template '" + shot.template_file() +
      "' --out '" + (dir / "out").string() +
      "' --width 256 --pattern '(?<shot>hall)_(?<lens>front|back)\\.tif' 2>&-";
  CHECK(run_in_shell(words) != 1);
  int locks = 0;
  for (const auto& entry : std::filesystem::recursive_directory_iterator(dir / "out/.restitch")) {
    if (entry.path().filename() != "lock") continue;
    CHECK(std::filesystem::file_size(entry.path()) == 0);
    ++locks;
  }
  CHECK(locks > 0);
}

TEST_CASE("an answer that does not reach stdout is a failure", "[streams]") {
  const test::ScratchDir dir;
  const test::SmallShot shot(dir.path());
  CHECK(run_in_shell("inspect '" + shot.template_file() + "' --json >/dev/null") == 0);
  CHECK(run_in_shell("inspect '" + shot.template_file() + "' --json >/dev/full 2>/dev/null") == 1);
}
