#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <sys/mount.h>

#include "base/file.h"
#include "imaging/write_image.h"
#include "tests/cli/run.h"
#include "tests/support/edited.h"
#include "tests/support/scratch_dir.h"
#include "tests/support/skip.h"

using namespace seamwright;
using test::check_refused;
using test::edited;
using test::get_file;
using test::put_file;
using test::run;
using test::ScratchDir;
using test::SmallShot;

namespace {

// The shot's four files and nothing else.
void check_nothing_left(const ScratchDir& scratch, int more = 0) {
  CHECK(scratch.entry_count() == 4 + more);
}

}  // namespace

TEST_CASE("stitch refuses frames it cannot use, and leaves nothing") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  const std::string out = shot.at("pano.tif");

  SECTION("missing") {
    std::filesystem::remove(shot.back());
    check_refused(run(shot.stitch(out)), "back.tif");
    check_nothing_left(scratch, -1);
  }
  SECTION("truncated") {
    const std::string bytes = get_file(shot.back());
    put_file(shot.back(), bytes.substr(0, bytes.size() / 2));
    check_refused(run(shot.stitch(out)), "back.tif");
    check_nothing_left(scratch);
  }
  SECTION("empty") {
    put_file(shot.front(), "");
    check_refused(run(shot.stitch(out)), "front.tif");
    check_nothing_left(scratch);
  }
  SECTION("no picture at all") {
    put_file(shot.front(), "This is a letter, not a picture.");
    check_refused(run(shot.stitch(out)), "front.tif");
    check_nothing_left(scratch);
  }
  SECTION("wrong channel count") {
    REQUIRE(write_image(shot.back(), Image(160, 160, Channels::grey, SampleType::u16)));
    check_refused(run(shot.stitch(out)), "channels");
    check_nothing_left(scratch);
  }
  SECTION("different size") {
    REQUIRE(write_image(shot.back(), Image(170, 170, Channels::rgb, SampleType::u16)));
    check_refused(run(shot.stitch(out)), "back.tif");
    check_nothing_left(scratch);
  }
  SECTION("two identical frames") {
    std::filesystem::copy_file(shot.front(), shot.back(),
                               std::filesystem::copy_options::overwrite_existing);
    check_refused(run(shot.stitch(out)), "same picture");
    check_nothing_left(scratch);
  }
  SECTION("another frame shape than the template's") {
    for (const auto& [name, code] : {std::pair{"front.tif", 1000}, std::pair{"back.tif", 2000}}) {
      Image wide(320, 160, Channels::rgb, SampleType::u16);
      for (auto& sample : wide.row<std::uint16_t>(80)) sample = static_cast<std::uint16_t>(code);
      REQUIRE(write_image(shot.at(name), wide));
    }
    check_refused(run(shot.stitch(out)), "160 x 160");
    check_nothing_left(scratch);
  }
  SECTION("too many") {
    check_refused(run(shot.stitch(out, {shot.front()})), "3 files");
    check_nothing_left(scratch);
  }
  SECTION("a side-by-side file that does not divide") {
    REQUIRE(write_image(shot.at("both.tif"), Image(321, 160, Channels::rgb, SampleType::u16)));
    check_refused(
        run({"stitch", "--template", shot.template_file(), shot.at("both.tif"), "--out", out}),
        "divide");
    check_nothing_left(scratch);
  }
}

TEST_CASE("stitch refuses a template it cannot trust, with its line") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  const std::string yaml = get_file(shot.template_file());
  const std::string out = shot.at("pano.tif");
  SECTION("missing") {
    std::filesystem::remove(shot.template_file());
    check_refused(run(shot.stitch(out)), "T.template.yaml");
    check_nothing_left(scratch, -1);
    return;
  }
  SECTION("unknown key") {
    put_file(shot.template_file(), yaml + "favourite_colour: mauve\n");
    check_refused(run(shot.stitch(out)), "favourite_colour");
  }
  SECTION("NaN") {
    const auto at = yaml.find("focal_px:");
    REQUIRE(at != std::string::npos);
    put_file(shot.template_file(),
             yaml.substr(0, at) + "focal_px: .nan" + yaml.substr(yaml.find('\n', at)));
    const auto ran = run(shot.stitch(out));
    check_refused(ran, "focal_px");
    CHECK_THAT(ran.err, Catch::Contains("T.template.yaml:"));
  }
  SECTION("not YAML") {
    put_file(shot.template_file(), "{[}");
    check_refused(run(shot.stitch(out)), "T.template.yaml");
  }
  SECTION("a newer version") {
    put_file(shot.template_file(), edited(yaml, "version: 5", "version: 99"));
    check_refused(run(shot.stitch(out)), "version");
  }
  check_nothing_left(scratch);
}

TEST_CASE("stitch refuses outputs it cannot write, and leaves nothing") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  SECTION("missing folder") { check_refused(run(shot.stitch(shot.at("no/p.tif"))), "folder"); }
  SECTION("a folder in the file's place") {
    std::filesystem::create_directory(scratch / "p.tif");
    check_refused(run(shot.stitch(shot.at("p.tif"))), "is a folder");
    std::filesystem::remove(scratch / "p.tif");
  }
  SECTION("a read-only file system") { check_refused(run(shot.stitch("/proc/p.tif")), "/proc"); }
  SECTION("a suffix that says nothing") {
    check_refused(run(shot.stitch(shot.at("pano"))), ".tif");
  }
  SECTION("odd width") {
    check_refused(run({"stitch", "--template", shot.template_file(), shot.front(), shot.back(),
                       "--out", shot.at("p.tif"), "--width", "257"}),
                  "--width: 257 px is not an even");
  }
  SECTION("no width") {
    check_refused(run({"stitch", "--template", shot.template_file(), shot.front(), shot.back(),
                       "--out", shot.at("p.tif"), "--width", "huge"}),
                  "huge");
  }
  SECTION("the old file survives a failure") {
    REQUIRE(write_file(shot.at("p.tif"), "old"));
    REQUIRE(write_image(shot.back(), Image(170, 170, Channels::rgb, SampleType::u16)));
    check_refused(run(shot.stitch(shot.at("p.tif"))), "back.tif");
    CHECK(get_file(shot.at("p.tif")) == "old");
    std::filesystem::remove(shot.at("p.tif"));
  }
  check_nothing_left(scratch);
}

TEST_CASE("A full disk is told in one line and nothing is left on it") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  const auto small = scratch / "small";
  std::filesystem::create_directory(small);
  if (::mount("tmpfs", small.c_str(), "tmpfs", 0, "size=128k") != 0) {
    return test::skip("cannot mount a small tmpfs here");
  }
  const auto full = run(shot.stitch((small / "p.tif").string()));
  const auto full_png = run({"stitch", "--template", shot.template_file(), shot.front(),
                             shot.back(), "--out", (small / "p.png").string(), "--width", "512"});
  const bool left = !std::filesystem::is_empty(small);
  ::umount(small.c_str());
  check_refused(full, "p.tif");
  check_refused(full_png, "p.png");
  CHECK_FALSE(left);
}

TEST_CASE("stitch takes the template a shot file names, and only that one") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  const std::vector<std::string> stitch = {
      "stitch", shot.at("s.shot.yaml"), "--out", shot.at("p.tif"), "--width", "256"};
  shot.write_shot("s.shot.yaml", {});
  check_refused(run(stitch), "--template");
  shot.write_shot("s.shot.yaml", TemplateReference{"T.template.yaml", std::string(64, '0')});
  check_refused(run(stitch), "sha256");
  shot.write_shot("s.shot.yaml", TemplateReference{"elsewhere.yaml", {}});
  check_refused(run(stitch), "elsewhere.yaml");
  check_refused(run({"stitch", shot.front(), shot.back(), "--out", shot.at("p.tif")}),
                "--template");
  shot.write_shot("s.shot.yaml", TemplateReference{"T.template.yaml", {}});
  auto turned = stitch;
  turned.insert(turned.end(), {"--layout", "stacked"});
  check_refused(run(turned), "shot file");
  CHECK(run(stitch).exit_code == 0);
}

TEST_CASE("With --json a failure is an object as well") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  const auto ran = run(shot.stitch(shot.at("no/p.tif"), {"--json"}));
  CHECK(ran.exit_code == 1);
  CHECK(ran.json()["error"]["kind"] == "io");
  CHECK_FALSE(ran.json()["error"]["remedy"].get<std::string>().empty());
}
