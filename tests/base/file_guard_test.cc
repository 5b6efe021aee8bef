#include "base/file_guard.h"

#include <filesystem>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <sys/stat.h>

#include "base/file.h"
#include "tests/support/scratch_dir.h"

namespace seamwright {

namespace fs = std::filesystem;
using test::get_file;
using test::put_file;
using test::ScratchDir;

namespace {

// A refused write leaves the file as it was and nothing beside it.
void check_kept(const fs::path& file, const std::string& bytes, const std::string& why) {
  INFO(file.string());
  const auto before = std::distance(fs::directory_iterator(file.parent_path()), {});
  const auto done = write_file(file, "new");
  REQUIRE_FALSE(done);
  CHECK(done.error().kind == ErrorKind::user_input);
  CHECK(done.error().where == file.string());
  CHECK_THAT(done.error().line(), Catch::Contains(why));
  CHECK_FALSE(done.error().remedy.empty());
  CHECK(get_file(file) == bytes);
  CHECK(std::distance(fs::directory_iterator(file.parent_path()), {}) == before);
}

}  // namespace

TEST_CASE("a file of somebody else's is not replaced", "[guard]") {
  const ScratchDir dir;
  put_file(dir / "frame.tif", "precious");
  check_kept(dir / "frame.tif", "precious", "not as this program wrote it");
  SECTION("nor with a guard") {
    const FileGuard guard({.remedy = "say please"});
    check_kept(dir / "frame.tif", "precious", "say please");
  }
  SECTION("unless the person allows it") {
    const FileGuard guard({.overwrite = true});
    CHECK(write_file(dir / "frame.tif", "new"));
    CHECK(get_file(dir / "frame.tif") == "new");
  }
}

TEST_CASE("a file that the program wrote is replaced until somebody changes it", "[guard]") {
  const ScratchDir dir;
  const fs::path file = dir / "room.tif";
  REQUIRE(write_file(file, "first"));
  REQUIRE(write_file(file, "second"));
  put_file(file, "second, retouched");  // in place: the note stays on the file
  check_kept(file, "second, retouched", "not as this program wrote it");
  SECTION("an editor that saves by renaming") {
    put_file(dir / "new.tif", "retouched once more");
    fs::rename(dir / "new.tif", file);
    check_kept(file, "retouched once more", "not as this program wrote it");
  }
  SECTION("the very bytes again are the program's own") {
    put_file(file, "second");
    CHECK(write_file(file, "third"));
  }
}

TEST_CASE("nothing lands on a file that is read, whatever leads to it", "[guard]") {
  const ScratchDir dir;
  REQUIRE(write_file(dir / "frame.tif", "precious"));  // the program's own, so rule 1 alone speaks
  fs::create_directory(dir / "folder");
  fs::create_symlink(dir / "frame.tif", dir / "folder/link.tif");
  fs::create_hard_link(dir / "frame.tif", dir / "folder/second-name.tif");
  const std::vector<fs::path> names = {dir / "frame.tif", dir / "folder/../frame.tif",
                                       dir / "folder/link.tif", dir / "folder/second-name.tif"};
  int cases = 0;
  for (const bool overwrite : {false, true}) {
    FileGuard guard({.overwrite = overwrite});
    guard.reads(dir / "frame.tif");
    for (const fs::path& name : names) {
      check_kept(name, "precious", "files that this is made from");
      ++cases;
    }
  }
  CHECK(cases == 8);
  CHECK(fs::is_symlink(dir / "folder/link.tif"));
}

TEST_CASE("the readers tell the guard what they read", "[guard]") {
  const ScratchDir dir;
  REQUIRE(write_file(dir / "a.template.yaml", "precious"));
  const FileGuard guard({.overwrite = true});
  REQUIRE(read_file(dir / "a.template.yaml"));
  check_kept(dir / "a.template.yaml", "precious", "files that this is made from");
}

TEST_CASE("an input that appears while the output is written is kept too", "[guard]") {
  const ScratchDir dir;
  const FileGuard guard({.overwrite = true});
  auto pending = PendingFile::create(dir / "room.tif");
  REQUIRE(pending);
  put_file(pending->temporary(), "new");
  put_file(dir / "room.tif", "precious");
  note_read(dir / "room.tif");
  CHECK_FALSE(pending->commit());
  CHECK(get_file(dir / "room.tif") == "precious");
}

TEST_CASE("in a folder that is read nothing of others is replaced, allowed or not", "[guard]") {
  const ScratchDir dir;
  fs::create_directories(dir / "card/day");
  put_file(dir / "card/day/frame.tif", "precious");
  REQUIRE(write_file(dir / "card/day/room.tif", "made before"));
  FileGuard guard({.overwrite = true});
  guard.reads(dir / "card");
  check_kept(dir / "card/day/frame.tif", "precious", "in a folder that is read");
  CHECK(write_file(dir / "card/day/room.tif", "made again"));
  CHECK(write_file(dir / "card/day/other.tif", "new"));
}

TEST_CASE("a record kept elsewhere counts while the bytes are those", "[guard]") {
  const ScratchDir dir;
  put_file(dir / "room.tif", "made by an older program");
  const FileGuard guard({});
  note_written(dir / "room.tif", sha256("made by an older program"));
  CHECK(write_file(dir / "room.tif", "made again"));
  put_file(dir / "hall.tif", "retouched");
  note_written(dir / "hall.tif", sha256("as it was made"));
  check_kept(dir / "hall.tif", "retouched", "not as this program wrote it");
}

TEST_CASE("devices, pipes and dangling links are not replaced", "[guard]") {
  const ScratchDir dir;
  REQUIRE(::mkfifo((dir / "pipe").c_str(), 0600) == 0);
  fs::create_symlink(dir / "nowhere", dir / "dangling");
  fs::create_symlink("/dev/null", dir / "null");
  const FileGuard guard({.overwrite = true});
  CHECK(refusal_to_write(dir / "pipe"));
  CHECK(refusal_to_write(dir / "null"));
  CHECK(refusal_to_write("/dev/null"));
  const FileGuard strict({});
  CHECK(refusal_to_write(dir / "dangling"));
}

TEST_CASE("an update keeps the version before", "[guard]") {
  const ScratchDir dir;
  const fs::path file = dir / "room.shot.yaml";
  put_file(file, "by hand");
  FileGuard guard({});
  guard.reads(file);
  REQUIRE(write_file(file, "second", Replacing::previous_kept));
  CHECK(get_file(file) == "second");
  CHECK(get_file(dir / "room.shot.yaml.previous") == "by hand");
  REQUIRE(write_file(file, "third", Replacing::previous_kept));
  CHECK(get_file(dir / "room.shot.yaml.previous") == "second");
  fs::create_symlink(file, dir / "link.shot.yaml");
  CHECK_FALSE(write_file(dir / "link.shot.yaml", "x", Replacing::previous_kept));
  CHECK(dir.entry_count() == 3);
}

TEST_CASE("several files are refused before the first is written", "[guard]") {
  const ScratchDir dir;
  put_file(dir / "right.tif", "precious");
  const std::vector<fs::path> files = {dir / "left.tif", dir / "right.tif"};
  CHECK_FALSE(check_destinations(files));
  const std::vector<fs::path> free = {dir / "left.tif", dir / "later/right.tif"};
  CHECK(check_destinations(free));
}

TEST_CASE("guards nest; the elder speaks again when the younger is gone", "[guard]") {
  const ScratchDir dir;
  put_file(dir / "a", "precious");
  const FileGuard elder({.overwrite = true});
  {
    const FileGuard younger({});
    CHECK(refusal_to_write(dir / "a"));
  }
  CHECK_FALSE(refusal_to_write(dir / "a"));
}

}  // namespace seamwright
