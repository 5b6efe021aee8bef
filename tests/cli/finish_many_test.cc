// `finish` of many panoramas: folders, run files, and runs that are stopped.

#include <algorithm>
#include <chrono>
#include <csignal>
#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "imaging/metadata.h"
#include "imaging/read_image.h"
#include "imaging/write_image.h"
#include "tests/cli/run.h"
#include "tests/cli/strike.h"
#include "tests/finish/sphere_pictures.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;
using test::check_refused;
using test::get_file;
using test::put_file;
using test::run;

namespace {

namespace fs = std::filesystem;
using Tree = std::map<std::string, std::string>;

/// A folder of panoramas as restitch leaves it: hall.tif, library.tif and stairs.tif, with a JPEG,
/// a smaller one and light beside the hall, and a picture that is no panorama.
class Delivered {
 public:
  explicit Delivered(const fs::path& parent = fs::temp_directory_path(), int width = 128)
      : dir(parent), width_(width) {
    fs::create_directories(dir / "delivered");
    double finest = 5;
    for (const char* name : {"hall.tif", "library.tif", "stairs.tif"}) put(name, finest += 1.5);
    for (const char* name : {"hall.jpg", "hall-64.jpg", "hall-light.tif"}) put(name, 6.5);
    REQUIRE(write_image(at("delivered/plan.png"), Image(32, 32, Channels::rgb, SampleType::u8)));
  }

  void put(const std::string& name, double finest) const {
    const auto sphere = PanoramaInfo::whole_sphere(width_, width_ / 2);
    REQUIRE(write_image(at("delivered/" + name), test::panorama_of(width_, test::waves(finest)),
                        {.xmp = gpano_xmp(sphere)}));
  }
  [[nodiscard]] std::string at(const std::string& name) const { return (dir / name).string(); }
  [[nodiscard]] std::vector<std::string> command(const std::string& into,
                                                 std::vector<std::string> more = {}) const {
    std::vector<std::string> words = {"finish", at("delivered"), "--into", at(into)};
    words.insert(words.end(), more.begin(), more.end());
    return words;
  }
  /// Every file that a person sees.
  [[nodiscard]] Tree tree(const std::string& folder) const {
    Tree files;
    if (!fs::exists(dir / folder)) return files;
    for (const auto& entry : fs::recursive_directory_iterator(dir / folder)) {
      const fs::path name = fs::relative(entry.path(), dir / folder);
      if (!entry.is_regular_file() || name.string().starts_with(".")) continue;
      if (entry.path().filename().string().starts_with(".")) continue;
      files[name.string()] = get_file(entry.path());
    }
    return files;
  }

  test::ScratchDir dir;

 private:
  int width_;
};

const std::vector<std::string> kAll = {"--write",   "tif",   "jpeg",        "tiles",
                                       "floor",     "faces", "--cover-deg", "20",
                                       "--face-px", "32",    "--tile-px",   "64"};

std::string state_of(const nlohmann::json& answer, const std::string& name) {
  for (const auto& one : answer.at("panoramas")) {
    if (one.at("name") == name) return one.at("state");
  }
  return "not there";
}

}  // namespace

TEST_CASE("finish takes a folder, names what fails, and does nothing twice") {
  if (test::program().empty()) return;
  const Delivered day;
  // It says that it is a panorama, and is none.
  REQUIRE(write_image(day.at("delivered/square.tif"), Image(64, 64, Channels::rgb, SampleType::u16),
                      {.xmp = gpano_xmp(PanoramaInfo::whole_sphere(64, 32))}));
  std::vector<std::string> words = day.command("done", kAll);
  words.emplace_back("--json");
  const auto first = run(words);
  INFO(first.err);
  CHECK(first.exit_code == 2);  // of square.tif
  CHECK_THAT(first.err, Catch::Contains("square: failed: ") && Catch::Contains("no whole sphere"));
  CHECK_THAT(first.err, Catch::Contains("3 files are passed over"));
  CHECK(first.json().at("panoramas").size() == 4);
  CHECK(first.json().at("other_pictures") == 1);
  const Tree done = day.tree("done");
  for (const char* name : {"hall", "library", "stairs"}) {
    CAPTURE(name);
    CHECK(state_of(first.json(), name) == "done");
    for (const char* ending :
         {".tif", ".jpg", "-floor.tif", "-faces/cube.json", "-tiles/tiles.json"}) {
      CHECK(done.contains(std::string(name) + ending));
    }
  }
  CHECK_FALSE(done.contains("square.tif"));
  CHECK_FALSE(done.contains("hall-64.tif"));

  // The same as one by one.
  REQUIRE(run({"finish", day.at("delivered/library.tif"), "--cover-deg", "20", "--out",
               day.at("library.tif")})
              .exit_code == 0);
  CHECK(get_file(day.at("library.tif")) == done.at("library.tif"));

  fs::remove(day.at("done/stairs-tiles/tiles.json"));
  const auto again = run(words);
  INFO(again.err);
  CHECK(state_of(again.json(), "hall") == "unchanged");
  CHECK(state_of(again.json(), "stairs") == "done");
  CHECK((day.tree("done") == done));
  // Other wishes, or another panorama, are other files.
  day.put("library.tif", 4);
  const auto changed = run(words);
  CHECK(state_of(changed.json(), "hall") == "unchanged");
  CHECK(state_of(changed.json(), "library") == "done");
  words.insert(words.end(), {"--middle-deg", "90"});
  CHECK(state_of(run(words).json(), "hall") == "done");
  // What somebody retouched is kept.
  put_file(day.at("done/hall.tif"), "retouched");
  words.back() = "45";
  const auto kept = run(words);
  CHECK(state_of(kept.json(), "hall") == "failed");
  CHECK_THAT(kept.err, Catch::Contains("not as this program wrote it"));
  CHECK(get_file(day.at("done/hall.tif")) == "retouched");
}

TEST_CASE("finish of a folder is refused as a whole where it makes no sense") {
  if (test::program().empty()) return;
  const Delivered day;
  const Tree before = day.tree(".");
  check_refused(run({"finish", day.at("delivered")}), "--into");
  check_refused(run(day.command("delivered")), "holds the panoramas themselves");
  check_refused(run(day.command("done", {"--out", day.at("a.tif")})), "is of one panorama");
  check_refused(run(day.command("done", {"--plate", day.at("delivered/plan.png")})), "--plate-deg");
  check_refused(
      run({"finish", day.at("nowhere"), day.at("none.run.yaml"), "--into", day.at("done")}),
      "no such file or folder");
  CHECK((day.tree(".") == before));
  // Two of one name would take each other's place; all that are left have failed.
  fs::copy_file(day.at("delivered/hall.tif"), day.at("hall.tif"));
  const auto two =
      run({"finish", day.at("hall.tif"), day.at("delivered/hall.tif"), "--into", day.at("done")});
  CHECK(two.exit_code == 1);
  CHECK_THAT(two.err, Catch::Contains("two panoramas would be written as hall"));
}

TEST_CASE("the floors of a day go out to an editor and come back") {
  if (test::program().empty()) return;
  const Delivered day;
  REQUIRE(run(day.command("floors", {"--write", "floor"})).exit_code == 0);
  CHECK(day.tree("floors").size() == 3);
  auto floor = read_image(day.at("floors/hall-floor.tif"));
  REQUIRE(floor);
  const int middle = floor->width() / 2;
  for (int y = middle - 3; y < middle + 3; ++y) {
    for (int x = middle - 3; x < middle + 3; ++x) {
      floor->row<std::uint16_t>(y)[static_cast<std::size_t>(3 * x)] = 60000;
    }
  }
  fs::create_directories(day.at("edited"));
  REQUIRE(write_image(day.at("edited/hall-floor.tif"), *floor));
  const auto back = run(day.command("done", {"--floors", day.at("edited")}));
  INFO(back.err);
  REQUIRE(back.exit_code == 0);
  CHECK(read_image(day.at("done/hall.tif"))->row<std::uint16_t>(63)[0] ==
        Approx(60000).margin(300));
  CHECK(test::pixels_of(day.at("done/stairs.tif")) ==
        test::pixels_of(day.at("delivered/stairs.tif")));
}

TEST_CASE("finish takes the panoramas of a run file") {
  if (test::program().empty()) return;
  const test::ScratchDir dir;
  const test::SmallShot shot(dir.path());
  test::put_file(shot.at("house.run.yaml"),
                 "format: seamwright-run\nversion: 3\ntemplates: [\"T.template.yaml\"]\n"
                 "out: \"panoramas\"\nnames: \"house_{name}\"\nseam: plain\nwidth_px: 256\n"
                 "jpeg: {}\nshots:\n"
                 "  - {name: \"hall\", files: [\"front.tif\", \"back.tif\"]}\n"
                 "  - {name: \"stairs\", files: [\"front.tif\", \"none.tif\"]}\n");
  const std::vector<std::string> finish = {
      "finish", shot.at("house.run.yaml"), "--into", shot.at("web"), "--write", "jpeg"};
  check_refused(run(finish), "is not stitched yet");
  REQUIRE(run({"restitch", shot.at("house.run.yaml")}).exit_code == 2);
  const auto ran = run(finish);
  INFO(ran.err);
  CHECK(ran.exit_code == 2);  // stairs has no panorama
  CHECK_THAT(ran.err, Catch::Contains("stairs: failed: ") && Catch::Contains("not stitched yet"));
  CHECK(fs::exists(shot.at("web/house_hall.jpg")));
  CHECK_FALSE(fs::exists(shot.at("web/house_hall.tif")));
}

TEST_CASE("a finish that is struck at any instant leaves whole files, and the next one ends it",
          "[kill]") {
  if (test::program().empty()) return;
  const Delivered day(test::memory_folder(), 256);
  const auto begin = std::chrono::steady_clock::now();
  REQUIRE(run(day.command("whole", kAll)).exit_code == 0);
  const double whole_s =
      std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
  const Tree wanted = day.tree("whole");
  REQUIRE(wanted.size() > 20);
  const int count = std::max(4, test::strikes() / 4);
  int struck = 0;
  for (int i = 0; i < count; ++i) {
    CAPTURE(i);
    fs::remove_all(day.dir / "hit");
    const int signal = i % 2 == 0 ? SIGKILL : SIGTERM;
    struck += test::struck_after(day.command("hit", kAll), whole_s * (i + 0.5) / count, signal);
    for (const auto& [name, bytes] : day.tree("hit")) {
      CAPTURE(name);
      REQUIRE(wanted.contains(name));
      REQUIRE(bytes == wanted.at(name));
    }
    REQUIRE(run(day.command("hit", kAll)).exit_code == 0);
    REQUIRE((day.tree("hit") == wanted));
  }
  CHECK(struck > 0);
}
