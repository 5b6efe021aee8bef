#include "base/append_file.h"

#include <csignal>
#include <filesystem>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "tests/support/scratch_dir.h"
#include "tests/support/watched_calls.h"

using namespace seamwright;
using Presence = AppendFile::Presence;
using Kind = test::SystemCall::Kind;
using test::get_file;
using test::put_file;
using test::ScratchDir;

namespace {

AppendFile opened(const std::filesystem::path& path, Presence presence) {
  auto file = AppendFile::open(path, presence);
  if (!file) FAIL(file.error().line());
  return std::move(*file);
}

}  // namespace

TEST_CASE("a line is flushed to the disk before it counts", "[append]") {
  const ScratchDir dir;
  const auto path = dir / "log";
  std::vector<std::string> flushed;
  const test::WatchedCalls watched([&](const test::SystemCall& call) -> test::Fate {
    if (call.kind == Kind::fsync) flushed.push_back(call.file + ": " + get_file(path));
    return {};
  });
  AppendFile file = opened(path, Presence::missing);
  REQUIRE(file.append("one"));
  REQUIRE(file.append("two"));
  const std::string folder = dir.path().filename().string();
  CHECK(flushed == std::vector<std::string>{folder + ": ", "log: one\n", "log: one\ntwo\n"});
}

TEST_CASE("a line that cannot be written whole leaves no trace, and the next one follows",
          "[append]") {
  const ScratchDir dir;
  const auto path = dir / "log";
  AppendFile file = opened(path, Presence::either);
  REQUIRE(file.append("one"));
  const auto failing = GENERATE(Kind::write, Kind::fsync);
  const bool cut_fails = GENERATE(false, true);
  {
    const test::WatchedCalls watched([&](const test::SystemCall& call) -> test::Fate {
      const bool fails = call.kind == failing || (cut_fails && call.kind == Kind::ftruncate);
      if (!fails) return {};
      return {test::Fate::Kind::fails, 2};
    });
    const auto refused = file.append("never");
    REQUIRE_FALSE(refused);
    CHECK_THAT(refused.error().line(), Catch::Contains("log") && Catch::Contains("No space left"));
    CHECK_FALSE(refused.error().remedy.empty());
  }
  CHECK((get_file(path) == "one\n") == !cut_fails);
  REQUIRE(file.append("two"));
  CHECK(get_file(path) == "one\ntwo\n");
  CHECK(file.size_bytes() == 8);
}

TEST_CASE("a file is one program's at a time, and a dead one's is free", "[append]") {
  const ScratchDir dir;
  const auto path = dir / "log";
  {
    const AppendFile file = opened(path, Presence::missing);
    const auto other = AppendFile::open(path, Presence::there);
    REQUIRE_FALSE(other);
    CHECK_THAT(other.error().line(), Catch::Contains("another program"));
    CHECK_FALSE(AppendFile::open(path, Presence::missing));
    CHECK(AppendFile::look(path, 100) == "");
  }
  const pid_t child = ::fork();
  REQUIRE(child >= 0);
  if (child == 0) {
    const auto held = AppendFile::open(path, Presence::there);
    ::raise(held ? SIGKILL : SIGABRT);
  }
  int status = 0;
  REQUIRE(::waitpid(child, &status, 0) == child);
  CHECK(WTERMSIG(status) == SIGKILL);
  AppendFile file = opened(path, Presence::there);
  CHECK(file.append("mine"));
}

TEST_CASE("nothing is written through links or to what is no plain file", "[append]") {
  const ScratchDir dir;
  const auto path = dir / "log";
  put_file(dir / "elsewhere", "treasure\n");
  const std::string what = GENERATE(as<std::string>{}, "link", "loose link", "folder", "pipe");
  if (what == "link") std::filesystem::create_symlink("elsewhere", path);
  if (what == "loose link") std::filesystem::create_symlink("nowhere", path);
  if (what == "folder") std::filesystem::create_directory(path);
  if (what == "pipe") REQUIRE(::mkfifo(path.c_str(), 0600) == 0);
  CAPTURE(what);
  for (const Presence presence : {Presence::there, Presence::missing, Presence::either}) {
    const auto refused = AppendFile::open(path, presence);
    REQUIRE_FALSE(refused);
    CHECK_THAT(refused.error().line(), Catch::Contains("log"));
  }
  CHECK_FALSE(AppendFile::look(path, 100));
  CHECK(get_file(dir / "elsewhere") == "treasure\n");
  CHECK_FALSE(std::filesystem::exists(dir / "nowhere"));
}

TEST_CASE("what others do to the file is seen before the next line", "[append]") {
  const ScratchDir dir;
  const auto path = dir / "log";
  AppendFile file = opened(path, Presence::missing);
  REQUIRE(file.append("one"));
  SECTION("grown") { put_file(path, "one\nother\n"); }
  SECTION("shortened") { put_file(path, ""); }
  SECTION("removed") { std::filesystem::remove(path); }
  SECTION("replaced") {
    std::filesystem::remove(path);
    put_file(path, "one\n");
  }
  const auto refused = file.append("two");
  REQUIRE_FALSE(refused);
  CHECK_THAT(refused.error().what, Catch::Contains("changed") || Catch::Contains("removed"));
}

TEST_CASE("a file above its limit is not read", "[append]") {
  const ScratchDir dir;
  put_file(dir / "log", std::string(200'000, 'x'));
  CHECK_FALSE(AppendFile::look(dir / "log", 199'999));
  CHECK(AppendFile::look(dir / "log", 200'000)->size() == 200'000);
}
