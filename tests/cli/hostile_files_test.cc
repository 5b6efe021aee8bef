// Frames and panoramas that hold what is no light, that claim to be gigantic, or whose profile is
// broken, given to every command that reads pictures.

#include <algorithm>
#include <filesystem>
#include <limits>
#include <optional>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "imaging/convert.h"
#include "imaging/metadata.h"
#include "imaging/read_image.h"
#include "imaging/write_image.h"
#include "tests/cli/run.h"
#include "tests/finish/sphere_pictures.h"
#include "tests/imaging/giants.h"
#include "tests/imaging/pictures.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;
using test::run;
using test::ScratchDir;
using test::SmallShot;

namespace {

namespace fs = std::filesystem;

using Command = std::vector<std::string>;

/// A shot and a panorama in float, in a folder of their own each, and every command on them.
class FloatPictures {
 public:
  FloatPictures() : shot_(scratch_.path(), 300) {
    for (const char* folder : {"frames", "bracket", "out"}) fs::create_directory(scratch_ / folder);
    for (const char* lens : {"front", "back"}) {
      const auto frame = read_image(shot_.at(fmt::format("{}.tif", lens)));
      REQUIRE(frame);
      Image light = to_type(*frame, SampleType::f32);
      pictures_.emplace_back(at(fmt::format("frames/room_{}.tif", lens)), light);
      for (int step = 0; step < 2; ++step) {
        pictures_.emplace_back(at(fmt::format("bracket/room_{}_{}.tif", step, lens)), light);
      }
    }
    pictures_.emplace_back(at("pano.tif"),
                           to_type(test::panorama_of(512, test::waves(9)), SampleType::f32));
    write();
    shot_.write_shot("room.shot.yaml", TemplateReference{"T.template.yaml", {}});
  }

  [[nodiscard]] std::string at(const std::string& name) const {
    return (scratch_.path() / name).string();
  }
  /// Every picture again, with some samples of one of its pixels replaced.
  void write(std::optional<float> sample = {}, int samples = 3) const {
    for (const auto& [file, sound] : pictures_) {
      Image image = sound;
      const int y = image.height() / 2;
      const auto row = image.row<float>(y).subspan(3 * static_cast<std::size_t>(image.width() / 2),
                                                   static_cast<std::size_t>(samples));
      if (sample) std::ranges::fill(row, *sample);
      const bool shorter = file.find("bracket/room_1") != std::string::npos;
      const std::string xmp = file.ends_with("pano.tif")
                                  ? gpano_xmp(PanoramaInfo::whole_sphere(512, 256))
                                  : std::string();
      REQUIRE(write_image(file, image,
                          {.info = FrameInfo{.taken_at = "2024:05:11 10:20:30",
                                             .exposure_s = shorter ? 0.125 : 0.5,
                                             .f_number = 4.0,
                                             .iso = 200.0,
                                             .body_model = "Lantern Two"},
                           .xmp = xmp}));
    }
  }

  /// By name, each on its own.
  [[nodiscard]] std::vector<std::pair<std::string, Command>> commands() const {
    const std::string body = shot_.template_file();
    const std::string front = at("frames/room_front.tif");
    const std::string back = at("frames/room_back.tif");
    const std::string pattern = R"((?<shot>room)_(?<lens>front|back)\.tif)";
    const std::string steps = R"((?<shot>room)_(?<frame>\d)_(?<lens>front|back)\.tif)";
    const Command stitch = {"stitch", "--template", body, front, back, "--width", "256", "--out"};
    const auto with = [](Command words, const Command& more) {
      words.insert(words.end(), more.begin(), more.end());
      return words;
    };
    return {
        {"stitch", with(stitch, {at("out/a.tif")})},
        {"stitch --level", with(stitch, {at("out/b.tif"), "--level"})},
        {"stitch plain", with(stitch, {at("out/c.tif"), "--seam", "plain"})},
        {"restitch",
         {"restitch", at("frames"), "--template", body, "--out", at("out/run"), "--width", "256",
          "--pattern", pattern, "--level"}},
        {"check", {"check", "--template", body, at("frames"), "--pattern", pattern}},
        {"check panorama", {"check", at("pano.tif")}},
        {"learn", {"learn", "--shot", front, back, "--out", at("out/body.template.yaml")}},
        {"merge", {"merge", at("bracket"), "--out", at("out/merged"), "--pattern", steps}},
        {"touch",
         {"touch", "--template", body, front, back, "--auto", "--out", at("out/t.shot.yaml")}},
        {"finish", {"finish", at("pano.tif"), "--out", at("out/f.tif")}},
        {"finish --level",
         {"finish", at("pano.tif"), "--level", "--out", at("out/g.tif"), "--jpeg",
          at("out/g.jpg")}},
        {"finish --floor-in",
         {"finish", shot_.at("sound.tif"), "--floor-in", at("pano.tif"), "--out", at("out/h.tif")}},
        {"inspect", {"inspect", front}},
    };
  }
  [[nodiscard]] const SmallShot& shot() const { return shot_; }

 private:
  ScratchDir scratch_;
  SmallShot shot_;
  std::vector<std::pair<std::string, Image>> pictures_;
};

}  // namespace

TEST_CASE("samples that are not finite are refused by every command, with their number") {
  if (test::program().empty()) return;
  const FloatPictures pictures;
  REQUIRE(write_image(pictures.at("sound.tif"), test::panorama_of(512, test::waves(9))));
  int ran = 0;
  for (const float sample :
       {std::numeric_limits<float>::quiet_NaN(), -std::numeric_limits<float>::infinity()}) {
    pictures.write(sample);
    for (const auto& [name, words] : pictures.commands()) {
      const auto done = run(words);
      CAPTURE(name, sample, done.exit_code, done.out, done.err);
      CHECK((done.exit_code == 1 || done.exit_code == 2));
      CHECK_THAT(done.out + done.err, Catch::Contains("holds 3 samples without a finite value"));
      CHECK_THAT(done.out + done.err, Catch::Contains(".tif: holds 3"));
      ++ran;
    }
  }
  CHECK(ran == 26);
  CHECK_FALSE(fs::exists(pictures.at("out/a.tif")));
}

TEST_CASE("the brightest light that is read harms no command") {
  if (test::program().empty()) return;
  const FloatPictures pictures;
  REQUIRE(write_image(pictures.at("sound.tif"), test::panorama_of(512, test::waves(9))));
  int ran = 0;
  for (const float sample : {0x1p30F, -0x1p30F}) {
    pictures.write(sample);
    for (const auto& [name, words] : pictures.commands()) {
      const auto done = run(words);
      CAPTURE(name, sample, done.exit_code, done.out, done.err);
      CHECK(done.exit_code <= 2);  // 3 is a fault of the program, 128 and above a signal
      CHECK_THAT(done.out + done.err, !Catch::Contains("nan") && !Catch::Contains("samples"));
      ++ran;
    }
  }
  CHECK(ran == 26);
}

TEST_CASE("pictures that claim to be gigantic are refused at once by every command") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  const std::string out = shot.at("o.tif");
  // Room enough in the file for 4.9 Gpx of one bit: only the limit keeps them out.
  test::put_file(shot.at("beyond.png"),
                 test::png_claiming(70'000, 70'000, 1, 0, std::string(400'000, '\x55')));
  int refused = 0;
  for (const std::string name : {"beyond.png", "bytes.png", "bits.png", "broken.png", "bytes.jpg",
                                 "scans.jpg", "deflate.tif", "tile.tif", "bytes.exr"}) {
    const std::string file = shot.at(name);
    if (name != "beyond.png") test::put_file(file, test::giants().at(name));
    for (const Command& words :
         {Command{"finish", file, "--out", out},
          Command{"stitch", "--template", shot.template_file(), shot.front(), file, "--out", out},
          Command{"learn", "--shot", shot.front(), file, "--out", out + ".yaml"},
          Command{"touch", "--template", shot.template_file(), file, shot.back(), "--auto", "--out",
                  out + ".shot.yaml"}}) {
      const auto done = run(words);
      CAPTURE(name, words);
      test::check_refused(done, file + ": ");
      CHECK(done.peak_kib < 200 * 1024);
      ++refused;
    }
    const auto seen = run({"inspect", file});
    CAPTURE(name, seen.err);
    CHECK(seen.exit_code <= 1);
    CHECK(seen.peak_kib < 200 * 1024);
  }
  CHECK(refused == 36);
  test::check_refused(run({"finish", shot.at("beyond.png"), "--out", out}),
                      "is 70000 × 70000 pixels, 4.90 Gpx; up to 4.00 Gpx are read");
}

TEST_CASE("a sound picture of gigantic size is described from its header alone") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const std::string file = (scratch / "wide.tif").string();
  REQUIRE(write_image(file, Image(21'000, 10'500, Channels::grey, SampleType::u8),
                      {.tiff_compression = TiffCompression::deflate}));
  CHECK(fs::file_size(file) < 1'000'000);
  const auto seen = run({"inspect", file});
  CHECK(seen.exit_code == 0);
  CHECK_THAT(seen.out, Catch::Contains("21000 x 10500 px") && Catch::Contains("not looked for"));
  CHECK(seen.peak_kib < 100 * 1024);
  const std::string out = (scratch / "o.tif").string();
  const auto refused = run({"finish", file, "--out", out, "--largest-gpx", "0.2"});
  test::check_refused(refused, "0.22 Gpx; up to 0.20 Gpx are read");
  CHECK(refused.peak_kib < 100 * 1024);
}

TEST_CASE("an error about a colour profile names the file in every command") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  for (const std::string& frame : {shot.front(), shot.back()}) {
    auto image = read_image(frame);
    REQUIRE(image);
    image->icc_profile = test::bytes_of("this is no profile at all");
    REQUIRE(write_image(frame, *image));
  }
  test::check_refused(run(shot.stitch(shot.at("o.tif"))), "front.tif: ICC profile: is broken");
  Image panorama = test::panorama_of(256, test::waves(9));
  panorama.icc_profile = test::bytes_of("this is no profile at all");
  REQUIRE(write_image(shot.at("pano.tif"), panorama));
  test::check_refused(run({"finish", shot.at("pano.tif"), "--exr", shot.at("o.exr")}),
                      "pano.tif: ICC profile: is broken");
}
