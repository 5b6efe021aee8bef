#include "base/leftovers.h"

#include <filesystem>
#include <string>

#include <catch2/catch.hpp>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/file.h"
#include "tests/support/scratch_dir.h"

namespace seamwright {

namespace fs = std::filesystem;
using test::put_file;
using test::ScratchDir;

namespace {

// A process that begins to write and is killed.
void die_while_writing(const fs::path& destination) {
  const pid_t child = ::fork();
  REQUIRE(child >= 0);
  if (child == 0) {
    const auto pending = PendingFile::create(destination);
    const auto scratch = scratch_beside(destination);
    if (scratch) put_file(scratch->path() / "light.tif", "much");
    if (pending) ::kill(::getpid(), SIGKILL);
    ::_exit(1);
  }
  int status = 0;
  REQUIRE(::waitpid(child, &status, 0) == child);
  REQUIRE(WIFSIGNALED(status));
}

}  // namespace

TEST_CASE("what a killed process left is removed by the next command", "[leftovers]") {
  const ScratchDir dir;
  die_while_writing(dir / "room.tif");
  CHECK(dir.entry_count() == 2);
  {
    const FileGuard guard({});
    REQUIRE(write_file(dir / "hall.tif", "x"));
  }
  CHECK(dir.entry_count() == 1);
}

TEST_CASE("what a living process writes is left alone", "[leftovers]") {
  const ScratchDir dir;
  const auto pending = PendingFile::create(dir / "room.tif");
  const auto scratch = scratch_beside(dir / "room.tif");
  REQUIRE(pending);
  REQUIRE(scratch);
  die_while_writing(dir / "hall.tif");
  CHECK(dir.entry_count() == 4);
  CHECK(remove_leftovers(dir.path()) == 2);
  CHECK(fs::exists(pending->temporary()));
  CHECK(fs::is_directory(scratch->path()));
}

TEST_CASE("files of a person whose names are alike are kept", "[leftovers]") {
  const ScratchDir dir;
  int cases = 0;
  for (const char* name : {"room.12-0.partial", ".room.partial", ".partial", ".12-0.partial",
                           ".room.a-0.partial", ".room.12-.partial", ".room.12-0.partial.tif"}) {
    put_file(dir / name, "precious");
    ++cases;
  }
  CHECK(remove_leftovers(dir.path()) == 0);
  CHECK(dir.entry_count() == cases);
  put_file(dir / ".room.12-0.partial", "");
  CHECK(remove_leftovers(dir.path()) == 1);
}

TEST_CASE("a link with the name of a leftover leads nowhere", "[leftovers]") {
  const ScratchDir dir;
  put_file(dir / "precious", "x");
  fs::create_symlink(dir / "precious", dir / ".room.12-0.partial");
  CHECK(remove_leftovers(dir.path()) == 0);
  CHECK(test::get_file(dir / "precious") == "x");
}

TEST_CASE("scratch is removed with all that is in it", "[leftovers]") {
  const ScratchDir dir;
  {
    const auto scratch = scratch_beside(dir / "room.tif");
    REQUIRE(scratch);
    put_file(scratch->path() / "light.tif", "much");
    CHECK(dir.entry_count() == 1);
  }
  CHECK(dir.entry_count() == 0);
}

}  // namespace seamwright
