#include "base/file_record.h"

#include <filesystem>

#include <catch2/catch.hpp>

#include "base/file.h"
#include "tests/support/scratch_dir.h"

#if defined(__linux__)
#include <sys/xattr.h>
#endif

namespace seamwright {

namespace fs = std::filesystem;
using test::get_file;
using test::put_file;
using test::ScratchDir;

namespace {

// The note that lies with the file; without one only the folder's list is left.
void drop_note(const fs::path& file) {
#if defined(__linux__)
  ::removexattr(file.c_str(), "user.seamwright.sha256");
#endif
}

// What record_written does where the file system keeps no notes.
void list(const fs::path& file, const std::string& bytes) {
  put_file(file.parent_path() / ".seamwright-written",
           get_file(file.parent_path() / ".seamwright-written") + sha256(bytes) + "  " +
               file.filename().string() + "\n");
}

}  // namespace

TEST_CASE("what was written is known by its bytes", "[record]") {
  const ScratchDir dir;
  put_file(dir / "theirs", "x");
  CHECK_FALSE(holds_what_was_written(dir / "theirs"));
  REQUIRE(write_file(dir / "ours", "x"));
  CHECK(holds_what_was_written(dir / "ours"));
  fs::rename(dir / "ours", dir / "moved");  // the note lies with the file
  CHECK(holds_what_was_written(dir / "moved"));
  put_file(dir / "moved", "y");
  CHECK_FALSE(holds_what_was_written(dir / "moved"));
  CHECK_FALSE(holds_what_was_written(dir / "missing"));
}

TEST_CASE("where a file system keeps no notes the folder's list tells", "[record]") {
  const ScratchDir dir;
  put_file(dir / "room.tif", "second");
  put_file(dir / ".seamwright-written", "a torn li");
  list(dir / "room.tif", "first");
  put_file(dir / ".seamwright-written", get_file(dir / ".seamwright-written") + "\n");
  drop_note(dir / "room.tif");
  CHECK_FALSE(holds_what_was_written(dir / "room.tif"));
  list(dir / "room.tif", "second");
  CHECK(holds_what_was_written(dir / "room.tif"));
  list(dir / "room.tif", "third");  // killed before the rename: the old file is still ours
  CHECK(holds_what_was_written(dir / "room.tif"));
  put_file(dir / "other.tif", "second");  // the same bytes under another name are not
  CHECK_FALSE(holds_what_was_written(dir / "other.tif"));
}

TEST_CASE("a list that is a link is neither read past nor written through", "[record]") {
  const ScratchDir dir;
  fs::create_directory(dir / "folder");
  put_file(dir / "victim", "");
  fs::create_symlink(dir / "victim", dir / "folder/.seamwright-written");
  record_written(dir / "no-such-temporary", dir / "folder/room.tif", sha256("x"));
  CHECK(get_file(dir / "victim").empty());
}

}  // namespace seamwright
