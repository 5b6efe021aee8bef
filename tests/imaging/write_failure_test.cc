#include <csignal>

#include <catch2/catch.hpp>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "imaging/tiff_writer.h"
#include "imaging/write_image.h"
#include "tests/imaging/pictures.h"
#include "tests/imaging/silence.h"
#include "tests/support/ordinary_user.h"
#include "tests/support/scratch_dir.h"

namespace seamwright {
namespace {

using test::Random;
using test::ScratchDir;

// A disk that is full after some bytes: the system's file size limit makes writes fail just so.
class FullDisk {
 public:
  explicit FullDisk(rlim_t bytes) : handler_(std::signal(SIGXFSZ, SIG_IGN)) {
    getrlimit(RLIMIT_FSIZE, &before_);
    rlimit limit = before_;
    limit.rlim_cur = bytes;
    setrlimit(RLIMIT_FSIZE, &limit);
  }
  ~FullDisk() {
    setrlimit(RLIMIT_FSIZE, &before_);
    std::signal(SIGXFSZ, handler_);
  }
  FullDisk(const FullDisk&) = delete;
  FullDisk& operator=(const FullDisk&) = delete;

 private:
  rlimit before_{};
  void (*handler_)(int);
};

TEST_CASE("a full disk is told and leaves nothing behind", "[imaging][write]") {
  CAPTURE(test::seed());
  Random random(91);
  const ScratchDir dir;
  const Image image = test::random_image(random, 400, 300, Channels::rgb, SampleType::u16);
  int failures = 0;
  for (const char* name : {"a.tif", "a.png", "a.jpg"}) {
    REQUIRE(write_file(dir / name, "what was there before"));
    // In the header, in the pixels, and in what comes last.
    REQUIRE(write_image(dir / "whole", image).has_value() == false);
    const auto whole = [&] {
      const auto path = dir / (std::string("whole") + std::string(name).substr(1));
      REQUIRE(write_image(path, image));
      const auto size = std::filesystem::file_size(path);
      std::filesystem::remove(path);
      return size;
    }();
    const int entries = dir.entry_count();
    for (const std::uint64_t limit :
         {std::uint64_t{0}, std::uint64_t{100}, whole / 2, whole - 60, whole - 1}) {
      CAPTURE(name, limit, whole);
      Result<void> written;
      const std::string printed = test::printed_by([&] {
        const FullDisk full(limit);
        written = write_image(dir / name, image);
      });
      CHECK(printed.empty());
      REQUIRE_FALSE(written);
      CHECK(written.error().kind == ErrorKind::io);
      CHECK(test::contains(written.error().where, name));
      CHECK(dir.entry_count() == entries);
      CHECK(test::get_file(dir / name) == "what was there before");
      ++failures;
    }
  }
  CHECK(failures == 15);
}

TEST_CASE("a disk that fills during streaming is told", "[imaging][write]") {
  const ScratchDir dir;
  const std::vector<std::byte> rows(std::size_t{100} * 1000 * 6);
  Result<void> result;
  {
    const FullDisk full(500'000);
    auto writer = TiffStripWriter::create(dir / "s.tif", {.width = 1000, .height = 1000});
    REQUIRE(writer);
    for (int row = 0; row < 1000 && result; row += 100) result = writer->write_rows(row, rows);
  }
  REQUIRE_FALSE(result);
  CHECK(test::contains(result.error().remedy, "space"));
  CHECK(dir.entry_count() == 0);
}

TEST_CASE("a place that cannot be written is told", "[imaging][write]") {
  const ScratchDir dir;
  const Image image = test::smooth_image(8, 8, Channels::rgb);
  for (const char* name : {"a.tif", "a.png", "a.jpg"}) {
    CAPTURE(name);
    const auto missing = write_image(dir.path() / "nowhere" / name, image);
    REQUIRE_FALSE(missing);
    CHECK(missing.error().kind == ErrorKind::io);
    CHECK(test::contains(missing.error().what, "folder does not exist"));
  }
  std::filesystem::create_directory(dir / "folder.tif");
  CHECK_FALSE(write_image(dir / "folder.tif", image));
  if (std::filesystem::is_directory("/proc")) {  // a place where not even the superuser may write
    const auto refused = write_image("/proc/a.tif", image);
    REQUIRE_FALSE(refused);
    CHECK(refused.error().kind == ErrorKind::io);
    CHECK(test::contains(refused.error().what, "cannot be written"));
  }
}

TEST_CASE("a folder that is locked is told", "[imaging][write]") {
  const test::OrdinaryUser user;
  const ScratchDir dir;
  const Image image = test::smooth_image(8, 8, Channels::rgb);
  std::filesystem::create_directory(dir / "locked");
  ::chmod((dir / "locked").c_str(), 0500);
  const auto locked = write_image(dir.path() / "locked" / "a.tif", image);
  REQUIRE_FALSE(locked);
  CHECK(locked.error().kind == ErrorKind::io);
}

}  // namespace
}  // namespace seamwright
