#include "base/file.h"

#include <cstddef>
#include <filesystem>
#include <fstream>
#include <string>
#include <utility>

#include <catch2/catch.hpp>
#include <sys/wait.h>
#include <unistd.h>

#include "base/written_files.h"
#include "tests/support/ordinary_user.h"
#include "tests/support/scratch_dir.h"

namespace seamwright {

namespace fs = std::filesystem;
using test::get_file;
using test::put_file;
using test::ScratchDir;

TEST_CASE("a committed file has its bytes and leaves no temporary", "[file]") {
  const ScratchDir dir;
  auto pending = PendingFile::create(dir / "out.txt");
  REQUIRE(pending);
  CHECK(pending->destination() == dir / "out.txt");
  CHECK(pending->temporary().parent_path() == dir.path());
  put_file(pending->temporary(), "whole");
  CHECK_FALSE(fs::exists(dir / "out.txt"));
  REQUIRE(pending->commit());
  CHECK(get_file(dir / "out.txt") == "whole");
  CHECK(dir.entry_count() == 1);
}

TEST_CASE("the hash of what was just written is known without reading it", "[file]") {
  const ScratchDir dir;
  CHECK_FALSE(hash_of_committed(dir / "out.txt"));
  REQUIRE(write_file(dir / "out.txt", "abc"));
  // FIPS 180-4's example.
  CHECK(hash_of_committed(dir / "out.txt") ==
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  put_file(dir / "other.txt", "abd");
  fs::rename(dir / "other.txt", dir / "out.txt");
  CHECK_FALSE(hash_of_committed(dir / "out.txt"));
  fs::remove(dir / "out.txt");
  CHECK_FALSE(hash_of_committed(dir / "out.txt"));
}

TEST_CASE("without a commit the destination is as it was", "[file]") {
  const ScratchDir dir;
  SECTION("it was there") {
    REQUIRE(write_file(dir / "out.txt", "before"));
    {
      auto pending = PendingFile::create(dir / "out.txt");
      REQUIRE(pending);
      put_file(pending->temporary(), "half of the ne");
      CHECK(get_file(dir / "out.txt") == "before");
    }
    CHECK(get_file(dir / "out.txt") == "before");
    CHECK(dir.entry_count() == 1);
  }
  SECTION("it was not there") {
    {
      auto pending = PendingFile::create(dir / "out.txt");
      REQUIRE(pending);
    }
    CHECK(dir.entry_count() == 0);
  }
}

TEST_CASE("a process that dies while writing leaves the destination whole", "[file]") {
  const ScratchDir dir;
  REQUIRE(write_file(dir / "out.txt", "before"));
  const pid_t child = ::fork();
  REQUIRE(child >= 0);
  if (child == 0) {
    auto pending = PendingFile::create(dir / "out.txt");
    if (pending) put_file(pending->temporary(), "half of the ne");
    ::_exit(pending ? 42 : 1);  // no destructors, as when killed
  }
  int status = 0;
  REQUIRE(::waitpid(child, &status, 0) == child);
  REQUIRE(WIFEXITED(status));
  CHECK(WEXITSTATUS(status) == 42);
  CHECK(get_file(dir / "out.txt") == "before");
}

TEST_CASE("a commit replaces the old file at once", "[file]") {
  const ScratchDir dir;
  REQUIRE(write_file(dir / "out.txt", "before"));
  // A reader that opened the old file keeps reading it whole: it was replaced, not overwritten.
  std::ifstream reader(dir / "out.txt", std::ios::binary);
  REQUIRE(write_file(dir / "out.txt", "after, and longer"));
  std::string seen;
  std::getline(reader, seen);
  CHECK(seen == "before");
  CHECK(get_file(dir / "out.txt") == "after, and longer");
  CHECK(dir.entry_count() == 1);
}

TEST_CASE("two pending files for one destination do not meet; the last commit stays", "[file]") {
  const ScratchDir dir;
  auto first = PendingFile::create(dir / "out.txt");
  auto second = PendingFile::create(dir / "out.txt");
  REQUIRE(first);
  REQUIRE(second);
  CHECK(first->temporary() != second->temporary());
  put_file(first->temporary(), "first");
  put_file(second->temporary(), "second");
  REQUIRE(second->commit());
  REQUIRE(first->commit());
  CHECK(get_file(dir / "out.txt") == "first");
  CHECK(dir.entry_count() == 1);
}

TEST_CASE("a moved pending file is committed or dropped once", "[file]") {
  const ScratchDir dir;
  auto pending = PendingFile::create(dir / "a.txt");
  REQUIRE(pending);
  put_file(pending->temporary(), "a");
  PendingFile moved = std::move(*pending);
  auto other = PendingFile::create(dir / "b.txt");
  REQUIRE(other);
  moved = std::move(*other);  // drops a
  put_file(moved.temporary(), "b");
  REQUIRE(moved.commit());
  CHECK_FALSE(fs::exists(dir / "a.txt"));
  CHECK(get_file(dir / "b.txt") == "b");
  CHECK(dir.entry_count() == 1);
}

TEST_CASE("destinations that cannot be are refused by name", "[file]") {
  const ScratchDir dir;
  fs::create_directory(dir / "folder");
  const auto refused = [](const fs::path& path, ErrorKind kind, const std::string& what) {
    const auto pending = PendingFile::create(path);
    REQUIRE_FALSE(pending);
    CHECK(pending.error().kind == kind);
    CHECK(pending.error().where == path.string());
    CHECK_THAT(pending.error().line(), Catch::Contains(what));
    CHECK_FALSE(pending.error().remedy.empty());
    CHECK_FALSE(write_file(path, "x"));
  };
  refused(dir / "folder", ErrorKind::user_input, "is a folder");
  refused(dir / "folder/", ErrorKind::user_input, "is a folder");
  refused(dir / "missing/out.txt", ErrorKind::io, "folder does not exist");
  put_file(dir / "file", "x");
  refused(dir / "file/out.txt", ErrorKind::io, "folder does not exist");
  CHECK(dir.entry_count() == 2);
}

TEST_CASE("a folder without write permission is refused", "[file]") {
  const test::OrdinaryUser user;
  const ScratchDir dir;
  fs::permissions(dir.path(), fs::perms::owner_read | fs::perms::owner_exec);
  const auto pending = PendingFile::create(dir / "out.txt");
  fs::permissions(dir.path(), fs::perms::owner_all);
  REQUIRE_FALSE(pending);
  CHECK_THAT(pending.error().line(), Catch::Contains("permissions"));
}

TEST_CASE("a destination that became a folder fails the commit and leaves nothing", "[file]") {
  const ScratchDir dir;
  {
    auto pending = PendingFile::create(dir / "out.txt");
    REQUIRE(pending);
    fs::create_directory(dir / "out.txt");
    put_file(dir / "out.txt/inside", "x");
    const auto committed = pending->commit();
    REQUIRE_FALSE(committed);
    CHECK(committed.error().where == (dir / "out.txt").string());
  }
  CHECK(get_file(dir / "out.txt/inside") == "x");
  CHECK(dir.entry_count() == 1);
}

TEST_CASE("files come back byte for byte", "[file]") {
  const ScratchDir dir;
  std::string bytes;
  for (int i = 0; i < 1000; ++i) bytes += static_cast<char>(i % 256);
  REQUIRE(write_file(dir / "bytes", bytes));
  const auto read = read_file(dir / "bytes");
  REQUIRE(read);
  CHECK(*read == bytes);
  REQUIRE(write_file(dir / "empty", ""));
  const auto empty = read_file(dir / "empty");
  REQUIRE(empty);
  CHECK(empty->empty());
}

TEST_CASE("reading refuses what is not a file of sensible size", "[file]") {
  const ScratchDir dir;
  put_file(dir / "ten", "0123456789");
  CHECK(read_file(dir / "ten", 10));
  const auto large = read_file(dir / "ten", 9);
  REQUIRE_FALSE(large);
  CHECK_THAT(large.error().line(), Catch::Contains("larger than 9 bytes"));
  const auto missing = read_file(dir / "none");
  REQUIRE_FALSE(missing);
  CHECK_THAT(missing.error().line(), Catch::Contains("no such file"));
  CHECK_THAT(missing.error().line(), Catch::Contains((dir / "none").string()));
  const auto folder = read_file(dir.path());
  REQUIRE_FALSE(folder);
  CHECK_THAT(folder.error().line(), Catch::Contains("is not a file"));
}

TEST_CASE("SHA-256 of the standard's examples", "[file]") {
  // FIPS 180-4 example messages (NIST, "SHA256.pdf" of the cryptographic standards examples); the
  // empty message is the well-known value, and the million letters are from FIPS 180-2, B.3.
  CHECK(sha256("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  CHECK(sha256("") == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
  CHECK(sha256("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq") ==
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
  CHECK(sha256(std::string(1000000, 'a')) ==
        "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
}

TEST_CASE("SHA-256 of a file is that of its bytes, across block borders", "[file]") {
  const ScratchDir dir;
  int cases = 0;
  for (const std::size_t size : {0UL, 1UL, 65535UL, 65536UL, 65537UL, 200000UL}) {
    const std::string bytes(size, 'a');
    put_file(dir / "file", bytes);
    const auto hash = sha256_of_file(dir / "file");
    REQUIRE(hash);
    CHECK(*hash == sha256(bytes));
    ++cases;
  }
  CHECK(cases == 6);
  CHECK_FALSE(sha256_of_file(dir / "none"));
  CHECK_FALSE(sha256_of_file(dir.path()));
}

}  // namespace seamwright
