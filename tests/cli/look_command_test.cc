// Rooms of one run, taken with other exposures and other whites, are delivered alike.

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "imaging/delta_e2000.h"
#include "imaging/read_image.h"
#include "imaging/transfer.h"
#include "imaging/write_image.h"
#include "tests/cli/run.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;
using test::run;

namespace {

namespace fs = std::filesystem;

/// One scene, as a camera took it in several rooms.
class TintedRooms {
 public:
  TintedRooms() : shot_(dir.path()) {
    take("hall", {1, 1, 1}, 1);
    take("stairs", {0.56, 0.5, 0.42}, 0.5);
    take("bath", {0.72, 0.8, 0.92}, 0.8);
    // Like a cellar: the camera gathered eight times as much for half the code.
    take("cellar", {0.5, 0.5, 0.5}, 4);
  }

  /// The scene by these factors; the camera says that it gathered `exposure`.
  void take(const std::string& name, const std::array<double, 3>& factors, double exposure) const {
    for (const std::string lens : {"front", "back"}) {
      auto picture = read_image(shot_.at(lens + ".tif"));
      REQUIRE(picture);
      for (int y = 0; y < picture->height(); ++y) {
        auto row = picture->row<std::uint16_t>(y);
        for (std::size_t i = 0; i < row.size(); ++i) {
          // Well below white, so that nothing is clipped in one room and not in the other.
          const double light = 0.7 * factors[i % 3] * srgb_to_linear(row[i] / 65535.0);
          row[i] = static_cast<std::uint16_t>(std::lround(65535 * linear_to_srgb(light)));
        }
      }
      const FrameInfo info{.exposure_s = exposure / 30, .f_number = 4.0, .iso = 200.0};
      REQUIRE(write_image(dir / fmt::format("{}_{}.tif", name, lens), *picture, {.info = info}));
    }
  }

  /// A run of these rooms; `look` as the file says it, empty: not at all.
  std::string run_file(const std::string& look, const std::vector<std::string>& names,
                       const std::string& of_first = {}) const {
    std::string text =
        "format: seamwright-run\nversion: 3\ntemplates: [\"T.template.yaml\"]\nout: \"out\"\n"
        "width_px: 256\nseam: plain\njpeg: {quality: 95}\n";
    if (!look.empty()) text += "look: " + look + "\n";
    text += "shots:\n";
    for (const std::string& name : names) {
      text += fmt::format("  - {{name: {0}, {1}files: [\"{0}_front.tif\", \"{0}_back.tif\"]}}\n",
                          name, name == names.front() ? of_first : "");
    }
    const std::string file = (dir / "house.run.yaml").string();
    test::put_file(file, text);
    return file;
  }
  [[nodiscard]] fs::path out(const std::string& name) const { return dir / "out" / name; }

  test::ScratchDir dir;

 private:
  test::SmallShot shot_;
};

/// Median L*, a* and b* of a JPEG.
Lab middle_of_jpeg(const fs::path& file) {
  const auto picture = read_image(file);
  REQUIRE(picture);
  std::array<std::vector<double>, 3> values;
  for (int y = 0; y < picture->height(); ++y) {
    const auto row = picture->row<std::uint8_t>(y);
    for (std::size_t i = 0; i + 2 < row.size(); i += 3) {
      const Lab lab =
          lab_from_linear_srgb({srgb_to_linear(row[i] / 255.0), srgb_to_linear(row[i + 1] / 255.0),
                                srgb_to_linear(row[i + 2] / 255.0)});
      values[0].push_back(lab.l);
      values[1].push_back(lab.a);
      values[2].push_back(lab.b);
    }
  }
  for (auto& channel : values) {
    std::nth_element(channel.begin(),
                     channel.begin() + static_cast<std::ptrdiff_t>(channel.size() / 2),
                     channel.end());
  }
  const auto middle = [](const std::vector<double>& v) { return v[v.size() / 2]; };
  return {middle(values[0]), middle(values[1]), middle(values[2])};
}

double apart(const Lab& one, const Lab& other) {
  return std::hypot(one.l - other.l, one.a - other.a, one.b - other.b);
}

const std::vector<std::string> kRooms = {"hall", "stairs", "bath", "cellar"};

}  // namespace

TEST_CASE("the rooms of a run are delivered alike, and without a look they are not", "[look]") {
  if (test::program().empty()) return;
  const TintedRooms rooms;
  REQUIRE(run({"restitch", rooms.run_file("", kRooms)}).exit_code != 1);
  const Lab before = middle_of_jpeg(rooms.out("hall.jpg"));
  CHECK(apart(before, middle_of_jpeg(rooms.out("stairs.jpg"))) > 12);
  CHECK(apart(before, middle_of_jpeg(rooms.out("bath.jpg"))) > 8);
  const std::string untouched = test::get_file(rooms.out("hall.tif"));

  const std::string file = rooms.run_file("{match: run}", kRooms);
  const auto made = run({"restitch", file, "--json"});
  INFO(made.err);
  REQUIRE(made.exit_code != 1);
  CHECK_THAT(made.err, Catch::Contains("4 stitched"));
  CHECK(made.json().at("looks").size() == 4);
  const Lab hall = middle_of_jpeg(rooms.out("hall.jpg"));
  CHECK(hall.l > 45);
  CHECK(hall.l < 60);
  // Below what is just noticed, 2.3 (Mahy et al. 1994, from memory). Each room has a curve of its
  // own that rolls off, so that they agree at the level and nearly elsewhere.
  CHECK(apart(hall, middle_of_jpeg(rooms.out("stairs.jpg"))) < 2);  // measured 1.5
  CHECK(apart(hall, middle_of_jpeg(rooms.out("bath.jpg"))) < 2);
  // Three stops darker than the others, and shown 0.15 darker: two units of L*.
  const Lab cellar = middle_of_jpeg(rooms.out("cellar.jpg"));
  CHECK(hall.l - cellar.l > 1);
  CHECK(hall.l - cellar.l < 4);

  // Nothing is done twice, and a part of the run decides as the whole.
  CHECK_THAT(run({"restitch", file}).err, Catch::Contains("0 stitched, 4 done before"));
  CHECK_THAT(run({"restitch", file, "--dry-run", "--part", "1/3"}).err,
             Catch::Contains("0 failed, 0 to do"));
  // A further room like the others redoes none of them.
  rooms.take("attic", {0.9, 0.9, 0.85}, 0.9);
  auto more = kRooms;
  more.push_back("attic");
  CHECK_THAT(run({"restitch", rooms.run_file("{match: run}", more)}).err,
             Catch::Contains("1 stitched, 4 done before"));
  // One room as it was taken: the very bytes that it has without a look.
  CHECK_THAT(run({"restitch", rooms.run_file("{match: run}", more, "look: {match: off}, ")}).err,
             Catch::Contains("hall: stitched"));
  CHECK(test::get_file(rooms.out("hall.tif")) == untouched);
}

TEST_CASE("a look that makes no sense is refused in one line", "[look]") {
  if (test::program().empty()) return;
  const TintedRooms rooms;
  for (const auto& [look, says] : std::vector<std::pair<std::string, std::string>>{
           {"{mach: run}", "mach"},
           {"{match: all}", "look.match"},
           {"{room_ev: 3}", "look.room_ev: 3 is outside 0…2"},
           {"{cast_ev: -1}", "look.cast_ev"},
           {"run", "look"}}) {
    CAPTURE(look);
    test::check_refused(run({"restitch", rooms.run_file(look, kRooms)}), says);
    CHECK_FALSE(fs::exists(rooms.dir / "out"));
  }
  const std::string file = rooms.run_file("{match: run}", kRooms);
  test::check_refused(run({"restitch", file, "--look", "off"}), "--look: is said by the run file");
  test::check_refused(run({"restitch", file, "--look", "house"}), "--look");
}

TEST_CASE("a single shot is stitched as it is unless a look is asked for", "[look]") {
  if (test::program().empty()) return;
  const test::ScratchDir dir;
  const test::SmallShot shot(dir.path());
  const auto bytes = [&](const std::string& name, const std::vector<std::string>& more) {
    REQUIRE(run(shot.stitch(shot.at(name), more)).exit_code != 1);
    return test::get_file(shot.at(name));
  };
  const std::string plain = bytes("plain.tif", {"--seam", "plain"});
  CHECK(bytes("off.tif", {"--seam", "plain", "--look", "off"}) == plain);
  CHECK(bytes("look.tif", {"--seam", "plain", "--look", "shot"}) != plain);
  test::check_refused(run(shot.stitch(shot.at("run.tif"), {"--look", "run"})), "--look");
}
