#include "compose/render/panorama_file.h"

#include <array>
#include <cstdio>
#include <cstdlib>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "imaging/read_image.h"
#include "imaging/write_image.h"
#include "tests/render/sphere_scene.h"
#include "tests/support/scratch_dir.h"
#include "tests/support/skip.h"

using namespace seamwright;
using test::ScratchDir;

namespace {

// Output of a command; empty where the tool is missing, and the case is skipped.
std::optional<std::string> run_tool(const std::string& tool, const std::string& arguments) {
  if (std::system(("command -v " + tool + " >/dev/null 2>&1").c_str()) != 0) {
    test::skip(tool + " is not installed");
    return std::nullopt;
  }
  FILE* pipe = ::popen((tool + " " + arguments + " 2>&1").c_str(), "r");
  REQUIRE(pipe != nullptr);
  std::string text;
  std::array<char, 4096> block{};
  while (const std::size_t count = std::fread(block.data(), 1, block.size(), pipe)) {
    text.append(block.data(), count);
  }
  CHECK(::pclose(pipe) == 0);
  return text;
}

std::vector<Frame> dated_frames(const Rig& rig) {
  auto frames = test::shoot(rig, test::wavy_scene(6));
  frames[0].info.taken_at = "2024:05:11 10:20:30";
  frames[1].info.taken_at = "2024:05:11 10:20:31";
  for (Frame& frame : frames) frame.info.exposure_s = 1.0 / 30;
  return frames;
}

}  // namespace

TEST_CASE("The TIFF opens in other programs with its GPano fields right") {
  const ScratchDir scratch;
  const Rig rig = test::small_body(61, 200);
  const auto path = scratch / "pano.tif";
  const auto report = write_panorama(rig, dated_frames(rig), {.width_px = 640},
                                     {.picture = path, .jpeg = scratch / "pano.jpg"});
  if (!report) FAIL(report.error().line());
  CHECK(scratch.entry_count() == 2);

  if (const auto text = run_tool("tiffinfo", path.string())) {
    CHECK_THAT(*text, Catch::Contains("Image Width: 640 Image Length: 320"));
    CHECK_THAT(*text, Catch::Contains("Bits/Sample: 16"));
    CHECK_THAT(*text, Catch::Contains("Software: Seamwright"));
    CHECK_THAT(*text, !Catch::Contains("Warning"));
  }
  if (const auto text = run_tool("identify", "-format '%m %w %h %z' " + path.string())) {
    CHECK_THAT(*text, Catch::Contains("TIFF 640 320 16"));
  }
  for (const auto& file : {path, scratch / "pano.jpg"}) {
    // Field names and types: the open GPano specification (from memory).
    const auto text = run_tool("exiv2", "-PXkv print " + file.string());
    if (!text) continue;
    const auto has = [&](const std::string& key, const std::string& value) {
      const auto at = text->find("Xmp.GPano." + key + " ");
      INFO(key << " in " << file);
      REQUIRE(at != std::string::npos);
      const std::string line = text->substr(at, text->find('\n', at) - at);
      CHECK_THAT(line, Catch::EndsWith(" " + value));
    };
    has("ProjectionType", "equirectangular");
    has("UsePanoramaViewer", "True");
    has("FullPanoWidthPixels", "640");
    has("FullPanoHeightPixels", "320");
    has("CroppedAreaImageWidthPixels", "640");
    has("CroppedAreaImageHeightPixels", "320");
    has("CroppedAreaLeftPixels", "0");
    has("CroppedAreaTopPixels", "0");
    has("SourcePhotosCount", "2");
    CHECK_THAT(*text, Catch::Contains("Xmp.GPano.FirstPhotoDate"));
    CHECK_THAT(*text, Catch::Contains("Xmp.GPano.PoseHeadingDegrees"));
  }
}

TEST_CASE("Streamed TIFF, PNG and the picture in memory hold the same pixels") {
  const ScratchDir scratch;
  const Rig rig = test::small_body(62, 200);
  const auto frames = dated_frames(rig);
  const RenderOptions options{.width_px = 600, .band_rows = 48};
  const auto reference = render_panorama(rig, frames, options);
  REQUIRE(reference);
  for (const char* name : {"a.tif", "b.TIFF", "c.png"}) {
    const auto path = scratch / name;
    const auto report = write_panorama(rig, frames, options, {.picture = path});
    if (!report) FAIL(report.error().line());
    const auto read = read_image(path);
    if (!read) FAIL(read.error().line());
    CHECK(std::equal(read->bytes().begin(), read->bytes().end(), reference->image.bytes().begin(),
                     reference->image.bytes().end()));
  }
}

TEST_CASE("The frames' profile reaches the files byte for byte") {
  const ScratchDir scratch;
  const Rig rig = test::small_body(63, 120);
  auto frames = dated_frames(rig);
  // Any real profile does; the writer makes one for linear integer samples.
  frames[0].image.transfer = Transfer::linear;
  REQUIRE(write_image(scratch / "profiled.tif", frames[0].image));
  const auto profiled = read_image(scratch / "profiled.tif");
  REQUIRE(profiled);
  REQUIRE_FALSE(profiled->icc_profile.empty());
  for (Frame& frame : frames) {
    frame.image.icc_profile = profiled->icc_profile;
    frame.image.transfer = Transfer::srgb;
  }
  REQUIRE(write_panorama(rig, frames, {.width_px = 256},
                         {.picture = scratch / "p.tif", .jpeg = scratch / "p.jpg"}));
  for (const char* name : {"p.tif", "p.jpg"}) {
    const auto read = read_image(scratch / name);
    REQUIRE(read);
    CHECK(read->icc_profile == profiled->icc_profile);
  }
}

TEST_CASE("Destinations that cannot be written are refused and nothing is left") {
  const ScratchDir scratch;
  const Rig rig = test::small_body(64, 120);
  const auto frames = dated_frames(rig);
  const auto error_of = [&](const PanoramaFiles& files) {
    const auto report = write_panorama(rig, frames, {.width_px = 128}, files);
    REQUIRE_FALSE(report);
    return report.error().line();
  };
  CHECK_THAT(error_of({.picture = scratch / "missing" / "p.tif"}), Catch::Contains("folder"));
  CHECK_THAT(error_of({.picture = scratch.path()}), Catch::Contains("kind of picture"));
  CHECK_THAT(error_of({.picture = scratch / "p.webp"}), Catch::Contains(".tif"));
  CHECK_THAT(error_of({.picture = scratch / "p.tif", .jpeg = scratch / "p.tif"}),
             Catch::Contains("JPEG"));
  CHECK_THAT(error_of({.picture = scratch / "p.jpg", .jpeg = scratch / "p.jpg"}),
             Catch::Contains("another name"));
  CHECK_THAT(error_of({.picture = scratch / "p.tif", .jpeg = scratch / "missing" / "p.jpg"}),
             Catch::Contains("folder"));
  CHECK_THAT(error_of({.picture = scratch / "p.tif", .jpeg_quality = 0}),
             Catch::Contains("jpeg quality"));
  CHECK(scratch.entry_count() == 0);
}

TEST_CASE("A stop while rendering leaves no file") {
  const ScratchDir scratch;
  const Rig rig = test::small_body(65, 120);
  int calls = 0;
  const auto report = write_panorama(rig, dated_frames(rig), {.width_px = 256, .band_rows = 16},
                                     {.picture = scratch / "p.tif", .jpeg = scratch / "p.jpg"},
                                     [&](const Progress&) { return ++calls < 5; });
  REQUIRE_FALSE(report);
  CHECK(report.error().kind == ErrorKind::cancelled);
  CHECK(scratch.entry_count() == 0);
}
