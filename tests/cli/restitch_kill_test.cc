// Runs that are stopped at any instant, by any signal that ends a program.

#include <algorithm>
#include <chrono>
#include <csignal>
#include <filesystem>
#include <map>
#include <string>

#include <catch2/catch.hpp>

#include "tests/cli/archive_shots.h"
#include "tests/cli/run.h"
#include "tests/cli/strike.h"

using namespace seamwright;
using test::run;
using test::Shots;
using test::struck_after;

namespace {

namespace fs = std::filesystem;
using Clock = std::chrono::steady_clock;

using Tree = std::map<std::string, std::string>;

/// What people see of a folder.
Tree visible(Tree tree) {
  std::erase_if(tree, [](const auto& file) { return file.first.starts_with("."); });
  return tree;
}

/// What a writer left behind.
long partials(const Tree& tree) {
  return std::count_if(tree.begin(), tree.end(),
                       [](const auto& file) { return file.first.ends_with(".partial"); });
}

}  // namespace

TEST_CASE("a run that is struck at any instant leaves whole files, and the next one ends it",
          "[kill]") {
  if (test::program().empty()) return;
  const Shots shots(2, test::memory_folder());
  const auto restitch = [&](const std::string& out, const std::string& width) {
    return shots.command(out, {"--seam", "plain"}, width);
  };
  const auto copied = [&](const std::string& from, const std::string& to) {
    fs::remove_all(shots.dir / to);
    fs::copy(shots.dir / from, shots.dir / to, fs::copy_options::recursive);
  };
  // Panoramas of another width are there already: each file is the old one or the new one.
  REQUIRE(run(restitch("before", "128")).exit_code != 1);
  const auto before = visible(shots.tree("before"));
  copied("before", "whole");
  const auto begin = Clock::now();
  REQUIRE(run(restitch("whole", "256")).exit_code != 1);
  const double whole_s = std::chrono::duration<double>(Clock::now() - begin).count();
  const auto wanted = visible(shots.tree("whole"));
  REQUIRE(wanted.size() == 4);
  REQUIRE(before.size() == 4);

  int struck = 0, runs = 0;
  for (const int signal : {SIGTERM, SIGHUP, SIGINT, SIGKILL}) {
    for (int i = 0; i < test::strikes(); ++i, ++runs) {
      CAPTURE(signal, i);
      copied("before", "hit");
      const auto command = restitch("hit", "256");
      struck += struck_after(command, whole_s * (i + 0.5) / test::strikes(), signal) ? 1 : 0;
      for (const auto& [name, bytes] : visible(shots.tree("hit"))) {
        CAPTURE(name);
        REQUIRE(wanted.contains(name));
        REQUIRE((bytes == before.at(name) || bytes == wanted.at(name)));
      }
      const auto resumed = run(command);
      INFO(resumed.err);
      REQUIRE((resumed.exit_code == 0 || resumed.exit_code == 2));
      REQUIRE(visible(shots.tree("hit")) == wanted);
      REQUIRE(partials(shots.tree("hit")) == 0);
    }
  }
  CHECK(runs == 4 * test::strikes());
  CHECK(struck > 0);
}
