#include <cstdlib>
#include <filesystem>

#include <catch2/catch.hpp>
#include <sys/stat.h>

#include "imaging/metadata.h"
#include "imaging/read_image.h"
#include "imaging/write_image.h"
#include "tests/cli/run.h"
#include "tests/finish/sphere_pictures.h"
#include "tests/support/ordinary_user.h"
#include "tests/support/scratch_dir.h"
#include "tests/support/skip.h"

using namespace seamwright;
using test::check_refused;
using test::get_file;
using test::panorama_of;
using test::put_file;
using test::run;
using test::ScratchDir;

namespace {

class Room {
 public:
  Room() {
    FrameInfo info{.taken_at = "2024:05:14 09:03:20", .body_model = "Lantern Two"};
    info.location = Location{47.5, -8.25, 430.0};
    PanoramaInfo sphere = PanoramaInfo::whole_sphere(256, 128);
    sphere.heading_deg = 30;
    if (!write_image(at("room.tif"), panorama_of(256, test::waves(9)),
                     {.info = info, .xmp = gpano_xmp(sphere)})) {
      throw std::runtime_error("cannot write the test's panorama");
    }
    before_ = get_file(at("room.tif"));
  }
  [[nodiscard]] std::string at(const std::string& name) const {
    return (scratch_.path() / name).string();
  }
  [[nodiscard]] test::Ran finish(std::vector<std::string> more) const {
    std::vector<std::string> arguments = {"finish", at("room.tif")};
    arguments.insert(arguments.end(), more.begin(), more.end());
    return run(arguments);
  }
  /// The input is what it was, and there are `files` beside it.
  void check_only(int files) const {
    CHECK(get_file(at("room.tif")) == before_);
    CHECK(scratch_.entry_count() == 1 + files);
  }

 private:
  ScratchDir scratch_;
  std::string before_;
};

// What ImageMagick says of a file, one line.
std::string identified(const std::string& file, const std::string& format, const std::string& out) {
  const std::string command =
      "identify -format '" + format + "' '" + file + "' > '" + out + "' 2>&1";
  return std::system(command.c_str()) == 0 ? get_file(out) : "identify failed: " + get_file(out);
}

}  // namespace

TEST_CASE("finish writes what people need, with everything carried") {
  if (test::program().empty()) return;
  const Room room;
  const auto ran =
      room.finish({"--middle-deg", "45", "--out", room.at("done.tif"), "--jpeg", room.at("web.jpg"),
                   "--jpeg-width", "128", "--jpeg-quality", "85", "--exr", room.at("light.exr"),
                   "--faces", room.at("faces"), "--tiles", room.at("tiles"), "--json"});
  INFO(ran.err);
  REQUIRE(ran.exit_code == 0);
  const auto answer = ran.json();
  CHECK(answer["heading_deg"] == Approx(75));
  CHECK(answer["location"] == true);
  CHECK(answer["written"].size() == 5);
  for (const char* name : {"done.tif", "web.jpg"}) {
    const auto info = read_frame_info(room.at(name));
    REQUIRE(info);
    CHECK(info->body_model == "Lantern Two");
    REQUIRE(info->location);
    CHECK(info->location->longitude_deg == Approx(-8.25));
    const auto sphere = read_panorama_info(room.at(name));
    REQUIRE((sphere && *sphere));
    CHECK((*sphere)->heading_deg == Approx(75));
  }
  // 45 degrees are 32 columns: no sample changes.
  const auto before = read_image(room.at("room.tif"));
  const auto after = read_image(room.at("done.tif"));
  REQUIRE((before && after));
  CHECK(after->row<std::uint16_t>(40)[3 * 128] == before->row<std::uint16_t>(40)[3 * 160]);
  CHECK(std::filesystem::exists(room.at("faces/cube.json")));
  CHECK(std::filesystem::exists(room.at("tiles/tiles.json")));

  // Outside check: ImageMagick opens both and finds the XMP.
  if (std::system("command -v identify > /dev/null 2>&1") != 0) {
    return test::skip("ImageMagick is not installed");
  }
  CHECK(identified(room.at("web.jpg"), "%m %w %h %Q", room.at("said")) == "JPEG 128 64 85");
  CHECK(identified(room.at("done.tif"), "%m %w %h %z", room.at("said")) == "TIFF 256 128 16");
}

TEST_CASE("finish strips the location when asked") {
  if (test::program().empty()) return;
  const Room room;
  const auto ran =
      room.finish({"--strip-location", "--out", room.at("a.tif"), "--jpeg", room.at("a.jpg")});
  INFO(ran.err);
  REQUIRE(ran.exit_code == 0);
  for (const char* name : {"a.tif", "a.jpg"}) {
    const auto info = read_frame_info(room.at(name));
    REQUIRE(info);
    CHECK_FALSE(info->location);
    CHECK(info->body_model == "Lantern Two");
  }
}

TEST_CASE("finish sends the floor out and takes it back") {
  if (test::program().empty()) return;
  const Room room;
  REQUIRE(room.finish({"--floor-out", room.at("floor.tif")}).exit_code == 0);
  auto floor = read_image(room.at("floor.tif"));
  REQUIRE(floor);
  CHECK(floor->type() == SampleType::u16);
  CHECK(floor->width() == floor->height());
  // Nothing edited: the same samples, and a word about it.
  const auto same = room.finish({"--floor-in", room.at("floor.tif"), "--out", room.at("same.tif")});
  CHECK(same.exit_code == 2);
  CHECK(same.err.find("nothing was edited") != std::string::npos);
  const auto before = read_image(room.at("room.tif"));
  const auto after = read_image(room.at("same.tif"));
  REQUIRE((before && after));
  CHECK(std::ranges::equal(before->bytes(), after->bytes()));

  const int middle = floor->width() / 2;
  for (int y = middle - 6; y < middle + 6; ++y) {
    for (int x = middle - 6; x < middle + 6; ++x)
      floor->row<std::uint16_t>(y)[static_cast<std::size_t>(3 * x)] = 60000;
  }
  REQUIRE(write_image(room.at("floor.tif"), *floor));
  const auto back =
      room.finish({"--floor-in", room.at("floor.tif"), "--out", room.at("back.tif"), "--json"});
  INFO(back.err);
  REQUIRE(back.exit_code == 0);
  CHECK(back.json()["floor"]["edited_px"] == 144);
  CHECK(back.json()["floor"]["changed_px"].get<int>() > 0);
  CHECK(read_image(room.at("back.tif"))->row<std::uint16_t>(127)[0] == Approx(60000).margin(300));
}

TEST_CASE("finish covers the stand") {
  if (test::program().empty()) return;
  const Room room;
  Image plate(64, 64, Channels::rgb, SampleType::u8);
  REQUIRE(write_image(room.at("plate.png"), plate));
  const auto ran = room.finish({"--cover-deg", "30", "--plate", room.at("plate.png"), "--plate-deg",
                                "12", "--out", room.at("done.tif")});
  INFO(ran.err);
  REQUIRE(ran.exit_code == 0);
  const auto done = read_image(room.at("done.tif"));
  REQUIRE(done);
  CHECK(done->row<std::uint16_t>(127)[0] == 0);
  CHECK(done->row<std::uint16_t>(118)[0] > 5000);
}

TEST_CASE("finish takes the glow off, where that is asked for") {
  if (test::program().empty()) return;
  const Room room;
  Image glowing(256, 128, Channels::rgb, SampleType::u16);
  for (int y = 0; y < 128; ++y) {
    const auto row = glowing.row<std::uint16_t>(y);
    for (std::size_t x = 0; x < 256; ++x) {
      for (std::size_t c = 0; c < 3; ++c) row[3 * x + c] = x < 128 ? 14000 : 65535;
    }
    row[std::size_t{3} * 127] = 30000;
    row[std::size_t{3} * 127 + 2] = 40000;
  }
  REQUIRE(write_image(room.at("glowing.tif"), glowing));
  const auto blue_beside = [&](const char* strength) {
    const auto ran = run({"finish", room.at("glowing.tif"), "--glow-removal", strength, "--out",
                          room.at("done.tif")});
    INFO(ran.err);
    REQUIRE(ran.exit_code == 0);
    const auto done = read_image(room.at("done.tif"));
    REQUIRE(done);
    return done->row<std::uint16_t>(64)[std::size_t{3} * 127 + 2];
  };
  CHECK(blue_beside("1") == Approx(14000).margin(200));
  CHECK(blue_beside("0") == 40000);
  check_refused(
      run({"finish", room.at("glowing.tif"), "--glow-removal", "2", "--out", room.at("a.tif")}),
      "--glow-removal");
}

TEST_CASE("finish refuses what it cannot do, in one line, and loses nothing") {
  if (test::program().empty()) return;
  const Room room;
  check_refused(room.finish({}), "nothing to write is named");
  check_refused(room.finish({"--out", room.at("room.tif")}), "files that this is made from");
  check_refused(room.finish({"--level", "--out", room.at("a.tif")}), "no verticals");
  check_refused(room.finish({"--vertical", "12,40", "--out", room.at("a.tif")}),
                "an edge needs two");
  // One edge a --vertical: what follows is not swallowed by it.
  check_refused(
      run({"finish", "--vertical", "12,40 12,90", room.at("none.tif"), "--out", room.at("a.tif")}),
      "none.tif");
  check_refused(room.finish({"--vertical", "12,40 900,50", "--out", room.at("a.tif")}),
                "outside the panorama");
  check_refused(room.finish({"--cover-deg", "80", "--out", room.at("a.tif")}), "outside 1…50");
  check_refused(room.finish({"--plate", room.at("room.tif"), "--out", room.at("a.tif")}),
                "--plate-deg");
  check_refused(
      room.finish({"--plate", room.at("room.tif"), "--plate-deg", "20", "--out", room.at("a.tif")}),
      "not square");
  check_refused(
      room.finish({"--plate", room.at("none.png"), "--plate-deg", "20", "--out", room.at("a.tif")}),
      "none.png");
  check_refused(room.finish({"--jpeg", room.at("a.jpg"), "--jpeg-width", "9999"}), "9999");
  check_refused(room.finish({"--floor-in", room.at("room.tif"), "--out", room.at("a.tif")}),
                "256 x 128");
  room.check_only(0);
  put_file(room.at("broken.tif"), "II*\0 no more");
  check_refused(run({"finish", room.at("broken.tif"), "--out", room.at("a.tif")}), "broken.tif");
  REQUIRE(write_image(room.at("flat.tif"), Image(64, 64, Channels::rgb, SampleType::u16)));
  check_refused(run({"finish", room.at("flat.tif"), "--out", room.at("a.tif")}), "no whole sphere");
  room.check_only(2);
}

TEST_CASE("finish says when a file is locked") {
  if (test::program().empty()) return;
  const test::OrdinaryUser user;
  const Room room;
  ::chmod(room.at("room.tif").c_str(), 0);
  check_refused(room.finish({"--out", room.at("a.tif")}), "room.tif");
  ::chmod(room.at("room.tif").c_str(), 0600);
  room.check_only(0);
}

TEST_CASE("stitch turns and labels its panorama") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const test::SmallShot shot(scratch.path());
  const auto ran = run(shot.stitch(
      shot.at("a.tif"), {"--middle-deg", "90", "--compass-deg", "12", "--jpeg", shot.at("a.jpg"),
                         "--jpeg-width", "128", "--seam", "plain", "--json"}));
  INFO(ran.err);
  REQUIRE(ran.exit_code == 0);
  CHECK(ran.json()["level"]["middle_deg"] == 90);
  const auto sphere = read_panorama_info(shot.at("a.tif"));
  REQUIRE((sphere && *sphere));
  CHECK((*sphere)->heading_deg == Approx(12));
  const auto small = read_panorama_info(shot.at("a.jpg"));
  REQUIRE((small && *small));
  CHECK((*small)->full_width_px == 128);
  // The same picture as the unturned one, a quarter further: rendering does the turn.
  REQUIRE(run(shot.stitch(shot.at("b.tif"), {"--seam", "plain"})).exit_code == 0);
  const auto turned = read_image(shot.at("a.tif"));
  const auto straight = read_image(shot.at("b.tif"));
  REQUIRE((turned && straight));
  int worst = 0;
  for (int x = 0; x < 256; ++x) {
    const int a = turned->row<std::uint16_t>(64)[static_cast<std::size_t>(3 * x)];
    const int b = straight->row<std::uint16_t>(64)[static_cast<std::size_t>(3 * ((x + 64) % 256))];
    worst = std::max(worst, std::abs(a - b));
  }
  CHECK(worst <= 40);  // of 65535: source positions are interpolated on another grid
  const auto unlevelled = run(shot.stitch(shot.at("u.tif"), {"--level"}));
  CHECK(unlevelled.exit_code == 2);
  CHECK_THAT(unlevelled.err, Catch::Contains("it stands as the body stood: no verticals"));
  CHECK(read_image(shot.at("u.tif")));
  check_refused(run(shot.stitch(shot.at("c.tif"), {"--vertical", "5:10,10 5:20,90"})), "no lens 5");
  check_refused(run(shot.stitch(shot.at("c.tif"), {"--level", "--vertical", "0:80,40 0:80,100"})),
                "--vertical");
  check_refused(
      run(shot.stitch(shot.at("c.jpg"), {"--jpeg", shot.at("d.jpg"), "--jpeg-width", "999"})),
      "999");
}
