#include "jobs/card/copy_file.h"

#include <filesystem>

#include <catch2/catch.hpp>

#include "base/file.h"
#include "base/file_record.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;
namespace fs = std::filesystem;

TEST_CASE("a copy is whole, keeps its time, and replaces nothing", "[card]") {
  const test::ScratchDir dir;
  const std::string bytes(3'000'000, 'x');
  test::put_file(dir / "from", bytes);
  fs::last_write_time(dir / "from", fs::file_time_type(std::chrono::hours(-100000)));
  const fs::path to = dir / "a/b/to";
  const auto done = copy_verified(dir / "from", to, sha256(bytes));
  if (!done) FAIL(done.error().line());
  CHECK(test::get_file(to) == bytes);
  CHECK(fs::last_write_time(to) == fs::last_write_time(dir / "from"));
  CHECK(fs::hard_link_count(to) == 1);
  // No output: a later command may not write over it.
  CHECK_FALSE(holds_what_was_written(to));
  CHECK(std::distance(fs::directory_iterator(to.parent_path()), {}) == 1);

  test::put_file(to, "theirs");
  const auto kept = copy_verified(dir / "from", to, sha256(bytes));
  REQUIRE_FALSE(kept);
  CHECK_THAT(kept.error().line(), Catch::Contains("cannot take its name"));
  CHECK(test::get_file(to) == "theirs");
  const auto changed = copy_verified(dir / "from", dir / "a/other", sha256("something else"));
  REQUIRE_FALSE(changed);
  CHECK_THAT(changed.error().line(), Catch::Contains("holds something else"));
  CHECK_FALSE(fs::exists(dir / "a/other"));
}

TEST_CASE("a name that is taken by other content is made from the hash", "[card]") {
  const test::ScratchDir dir;
  const std::string hash = sha256("mine");
  const auto fresh = copy_place(dir / "p.tif", hash);
  REQUIRE(fresh);
  CHECK(fresh->file == dir / "p.tif");
  CHECK_FALSE(fresh->is_there);
  test::put_file(dir / "p.tif", "mine");
  CHECK(copy_place(dir / "p.tif", hash)->is_there);
  test::put_file(dir / "p.tif", "theirs");
  const auto other = copy_place(dir / "p.tif", hash);
  REQUIRE(other);
  CHECK(other->file == dir / ("p~" + hash.substr(0, 8) + ".tif"));
  CHECK_FALSE(other->is_there);
  test::put_file(other->file, "mine");
  CHECK(copy_place(dir / "p.tif", hash)->is_there);
  test::put_file(other->file, "half");
  CHECK_FALSE(copy_place(dir / "p.tif", hash));
}
