// touch, merge, check and learn on folders, run files and several inputs; what a run file says of
// shots that do not fit; serial numbers.

#include <algorithm>
#include <filesystem>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <exiv2/exiv2.hpp>
#include <fmt/format.h>

#include "imaging/metadata.h"
#include "imaging/read_image.h"
#include "imaging/write_image.h"
#include "templates/rig_template.h"
#include "templates/shot_file.h"
#include "tests/cli/day_card.h"
#include "tests/cli/run.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;
using test::check_refused;
using test::get_file;
using test::put_file;
using test::run;

namespace {

namespace fs = std::filesystem;

/// Two stands of the demo, made once.
const fs::path& demo_house() {
  static const test::ScratchDir dir;
  static const fs::path house = [] {
    const auto made = run({"demo", dir.path().string(), "--frame", "500", "--no-panoramas",
                           "--shots", "library_1", "hall_1"});
    REQUIRE(made.exit_code == 0);
    return dir.path();
  }();
  return house;
}

/// A copy of them, the body's true template, and the template from before a knock.
class KnockedHouse {
 public:
  KnockedHouse() {
    fs::copy(demo_house(), dir.path(), fs::copy_options::recursive);
    auto body = read_template(truth());
    REQUIRE(body);
    Quat& mount = body->solution.rig.lenses[1].rig_from_lens;
    mount =
        quat_from_rotation_vector(rad_from_deg(0.45) * Vec3(0.5, 0.7, -0.5).normalized()) * mount;
    REQUIRE(write_template(before(), *body));
  }
  [[nodiscard]] std::string at(const std::string& name) const { return (dir / name).string(); }
  [[nodiscard]] std::string truth() const { return at("truth/body.template.yaml"); }
  [[nodiscard]] std::string before() const { return at("before.template.yaml"); }

  test::ScratchDir dir;
};

const nlohmann::json& shot_of(const nlohmann::json& answer, const std::string& name) {
  for (const auto& one : answer.at("shots")) {
    if (one.at("name") == name) return one;
  }
  FAIL("no shot " + name);
  throw;
}

// By a writer of EXIF that is not this program's: Exiv2.
void set_serial(const std::string& file, const std::string& body, const std::string& lens = {}) {
  const auto image = Exiv2::ImageFactory::open(file);
  image->readMetadata();
  image->exifData()["Exif.Photo.BodySerialNumber"] = body;
  if (!lens.empty()) image->exifData()["Exif.Photo.LensSerialNumber"] = lens;
  image->writeMetadata();
}

}  // namespace

TEST_CASE("touch takes a folder and a run file, and touches what needs it") {
  if (test::program().empty()) return;
  const KnockedHouse house;
  const std::string frames = house.at("frames");
  const auto fine = run({"touch", "--template", house.truth(), frames, "--json"});
  INFO(fine.err);
  CHECK(fine.exit_code == 0);
  CHECK(shot_of(fine.json(), "hall_1").at("state") == "fits");
  CHECK_FALSE(fs::exists(house.at("frames/hall_1.shot.yaml")));

  // The hall's back frame is the library's: it is named, and the library is touched.
  fs::copy_file(house.at("frames/hall_1_back.tif"), house.at("hall_1_back.tif"));
  const auto other = read_image(house.at("frames/library_1_back.tif"));
  const auto info = read_frame_info(house.at("hall_1_back.tif"));
  REQUIRE((other && info));
  fs::remove(house.at("frames/hall_1_back.tif"));
  REQUIRE(write_image(house.at("frames/hall_1_back.tif"), *other, {.info = *info}));
  const std::vector<std::string> words = {"touch", "--template", house.before(), frames, "--json"};
  const auto knocked = run(words);
  INFO(knocked.err);
  CHECK(knocked.exit_code == 2);
  CHECK(shot_of(knocked.json(), "hall_1").at("state") == "failed");
  CHECK(shot_of(knocked.json(), "library_1").at("state") == "touched");
  CHECK_THAT(knocked.err, Catch::Contains("hall_1: failed: ") &&
                              Catch::Contains("library_1: touched: the body was knocked"));
  const std::string shot_file = house.at("frames/library_1.shot.yaml");
  const auto written = read_shot_file(shot_file);
  REQUIRE(written);
  CHECK(written->touch);
  // With its touch it fits. The hall's frames are given back, and touched by the run.
  fs::rename(house.at("hall_1_back.tif"), house.at("frames/hall_1_back.tif"));
  put_file(house.at("house.run.yaml"),
           "format: seamwright-run\nversion: 3\ntemplates: [\"before.template.yaml\"]\n"
           "out: \"panoramas\"\nshots:\n"
           "  - {name: \"library\", folder: \"frames\", files: [\"library_1.shot.yaml\"]}\n"
           "  - {name: \"hall\", folder: \"frames\", files: [\"hall_1_front.tif\", "
           "\"hall_1_back.tif\"]}\n");
  const auto of_run = run({"touch", house.at("house.run.yaml"), "--json"});
  INFO(of_run.err);
  CHECK(shot_of(of_run.json(), "library").at("state") == "fits");
  CHECK(shot_of(of_run.json(), "hall").at("state") == "touched");
  CHECK(fs::exists(house.at("frames/hall.shot.yaml")));
  // A shot file that is not this shot's is not written over.
  const auto once_more = run({"touch", house.at("house.run.yaml")});
  CHECK(once_more.exit_code == 2);
  CHECK_THAT(once_more.err, Catch::Contains("is there already"));
  // Learned again: the old touch is another template's. The version before stays.
  const std::string before = get_file(shot_file);
  const auto anew = run({"touch", "--template", house.truth(), shot_file, "--json"});
  INFO(anew.err);
  CHECK(shot_of(anew.json(), "library_1").at("state") == "touched");
  CHECK_FALSE(read_shot_file(shot_file)->touch);
  CHECK(get_file(shot_file + ".previous") == before);
}

TEST_CASE("touch of many refuses what is of one, and places without shots") {
  if (test::program().empty()) return;
  const test::ScratchDir dir;
  const test::SmallShot shot(dir.path());
  const std::string body = shot.template_file();
  check_refused(
      run({"touch", "--template", body, shot.front(), shot.back(), "--tie", "0:155,80 1:5,80"}),
      "--tie");
  check_refused(run({"touch", "--template", body, shot.at("nowhere")}), "nowhere");
  fs::create_directories(shot.at("empty"));
  check_refused(run({"touch", "--template", body, shot.at("empty")}), "empty");
  check_refused(run({"touch", shot.at("none.run.yaml")}), "none.run.yaml");
  // Two frames in the order of the lenses are one shot; so small ones tell nothing.
  const auto ran = run({"touch", "--template", body, shot.front(), shot.back(), "--json"});
  INFO(ran.err);
  REQUIRE(ran.exit_code != 1);
  CHECK(ran.json().at("shots").size() == 1);
  CHECK(dir.entry_count() == 5);
}

TEST_CASE("a run file says which shots are stitched anyway and which are not touched") {
  if (test::program().empty()) return;
  const KnockedHouse house;
  const std::string frames =
      "folder: \"frames\", files: [\"library_1_front.tif\", \"library_1_back.tif\"]}\n";
  const std::string swapped =
      "folder: \"frames\", files: [\"hall_1_back.tif\", \"hall_1_front.tif\"]}\n";
  put_file(house.at("house.run.yaml"),
           "format: seamwright-run\nversion: 3\ntemplates: [\"before.template.yaml\"]\n"
           "out: \"panoramas\"\nseam: plain\nwidth_px: 256\ntouch: false\nshots:\n"
           "  - {name: \"left\", " +
               frames + "  - {name: \"touched\", touch: true, " + frames +
               "  - {name: \"refused\", " + swapped + "  - {name: \"stitched\", anyway: true, " +
               swapped);
  // By EXIF the frames would be put in order: without it they are swapped.
  for (const char* lens : {"front", "back"}) {
    const std::string file = house.at(fmt::format("frames/hall_1_{}.tif", lens));
    const auto frame = read_image(file);
    REQUIRE(frame);
    fs::remove(file);
    REQUIRE(write_image(file, *frame));
  }
  const auto ran = run({"restitch", house.at("house.run.yaml"), "--json"});
  INFO(ran.err);
  CHECK(ran.exit_code == 2);
  const auto answer = ran.json();
  const auto findings = [&](const std::string& name) {
    return shot_of(answer, name).at("findings").dump();
  };
  CHECK_THAT(findings("left"), Catch::Contains("the body was knocked"));
  CHECK(shot_of(answer, "touched").at("findings").empty());
  CHECK_THAT(shot_of(answer, "touched").at("notes").dump(), Catch::Contains("and touched"));
  CHECK(shot_of(answer, "refused").at("state") == "failed");
  CHECK(shot_of(answer, "stitched").at("state") == "done");
  CHECK_THAT(findings("stitched"), Catch::Contains("swapped"));
}

TEST_CASE("the files of a shot's old name are told, and stay") {
  if (test::program().empty()) return;
  const test::ScratchDir dir;
  const test::SmallShot shot(dir.path());
  const auto put_run = [&](const std::string& name) {
    put_file(shot.at("house.run.yaml"),
             "format: seamwright-run\nversion: 3\ntemplates: [\"T.template.yaml\"]\n"
             "out: \"panoramas\"\nseam: plain\nwidth_px: 256\ntiles: {face_px: 32, tile_px: 64}\n"
             "shots:\n  - {name: \"" +
                 name + "\", files: [\"front.tif\", \"back.tif\"]}\n");
  };
  const std::vector<std::string> restitch = {"restitch", shot.at("house.run.yaml")};
  put_run("hall");
  CHECK_THAT(run(restitch).err, !Catch::Contains("earlier runs"));
  put_run("entrance");
  for (int i = 0; i < 2; ++i) {
    const auto ran = run(restitch);
    CHECK_THAT(ran.err, Catch::Contains("note: hall.tif, hall-tiles/ in ") ||
                            Catch::Contains("note: hall-tiles/, hall.tif in "));
    CHECK(std::count(ran.err.begin(), ran.err.end(), '\n') < 8);
  }
  CHECK(fs::exists(shot.at("panoramas/hall.tif")));
  fs::remove(shot.at("panoramas/hall.tif"));
  fs::remove_all(shot.at("panoramas/hall-tiles"));
  CHECK_THAT(run(restitch).err, !Catch::Contains("earlier runs"));
}

TEST_CASE("merge and check take a run file beside other inputs") {
  if (test::program().empty()) return;
  const test::DayCard day;
  day.take_bracket("100", 1, 0);
  day.take_single("101", 11, 10);
  REQUIRE(run(day.import()).exit_code != 1);
  const std::string out = (day.dir / "merged").string();
  const auto ran = run({"merge", day.run_file().string(), "--out", out, "--json"});
  INFO(ran.err);
  CHECK((ran.exit_code == 0 || ran.exit_code == 2));
  CHECK(ran.json().at("merged").size() == 2);
  CHECK(ran.json().at("single") == 1);
  CHECK(fs::exists(out + "/2024-05-14_090000_front.tif"));
  // The same as from the folder, under the name of the run.
  const std::string by_folder = (day.dir / "by-folder").string();
  REQUIRE(run({"merge", (day.card() / "100").string(), "--out", by_folder, "--json"}).exit_code !=
          1);
  int compared = 0;
  for (const auto& entry : fs::directory_iterator(by_folder)) {
    const std::string name = entry.path().filename().string();
    if (!name.ends_with("_front.tif")) continue;
    CHECK(test::pixels_of(entry.path().string()) ==
          test::pixels_of(out + "/2024-05-14_090000_front.tif"));
    ++compared;
  }
  CHECK(compared == 1);
  check_refused(run({"merge", (day.dir / "none.run.yaml").string(), "--out", out}),
                "none.run.yaml");

  put_file(day.dir / "torn.run.yaml", "format: seamwright-run\n");
  const auto checked =
      run({"check", day.run_file().string(), (day.dir / "torn.run.yaml").string(),
           day.card().string() + "/100", "--template", day.template_of("A"), "--json"});
  INFO(checked.err);
  CHECK(checked.exit_code == 2);
  CHECK(checked.json().at("shots").size() >= 4);  // two of the run, the torn file, those of 100
  CHECK_THAT(checked.err, Catch::Contains("torn.run.yaml"));
}

TEST_CASE("four frames that say nothing are a shot in the order of the template's lenses") {
  if (test::program().empty()) return;
  const test::ScratchDir dir;
  const auto starter = starter_template("four-ring", 120, 120);
  REQUIRE(starter);
  const std::string body = (dir / "four.template.yaml").string();
  REQUIRE(write_template(body, *starter));
  const auto put = [&](const std::vector<std::string>& names) {
    std::vector<std::string> files;
    for (std::size_t i = 0; i < names.size(); ++i) {
      Image frame(120, 120, Channels::rgb, SampleType::u8);
      for (int y = 0; y < 120; ++y) {
        auto row = frame.row<std::uint8_t>(y);
        for (std::size_t x = 0; x < row.size(); ++x) {
          row[x] =
              static_cast<std::uint8_t>((x * 7 + static_cast<std::size_t>(y) * 3 * (i + 1)) % 251);
        }
      }
      files.push_back((dir / names[i]).string());
      REQUIRE(write_image(files.back(), frame));
    }
    return files;
  };
  std::vector<std::string> words = {"check", "--template", body, "--json"};
  const auto four = put({"a.png", "b.png", "c.png", "d.png"});
  words.insert(words.end(), four.begin(), four.end());
  const auto in_order = run(words);
  INFO(in_order.err);
  REQUIRE(in_order.exit_code != 1);
  REQUIRE(in_order.json().at("shots").size() == 1);
  CHECK(in_order.json().at("shots")[0].at("name") == "a");
  // By name, whatever the order; two shots at once. Listed only, which takes no time.
  words = {"restitch", "--template", body, "--out", (dir / "out").string(), "--dry-run"};
  for (const std::string room : {"stairs", "hall"}) {
    const auto named = put({room + "_3.png", room + "_1.png", room + "_0.png", room + "_2.png"});
    words.insert(words.end(), named.begin(), named.end());
  }
  const auto by_name = run(words);
  INFO(by_name.err);
  CHECK(by_name.exit_code == 0);
  CHECK_THAT(by_name.err,
             Catch::Contains("1/2 hall: to do") && Catch::Contains("2/2 stairs: to do"));
  // One is missing: it is named, and nothing is made up.
  fs::remove(words.back());
  words.pop_back();
  const auto missing = run(words);
  CHECK(missing.exit_code == 2);
  CHECK_THAT(missing.err, Catch::Contains("hall_2.png is missing beside it"));
}

TEST_CASE("another body's serial number is told, and refuses nothing") {
  if (test::program().empty()) return;
  const test::ScratchDir dir;
  const test::SmallShot shot(dir.path());
  auto body = read_template(shot.template_file());
  REQUIRE(body);
  body->files.body_serial = "0117";
  body->files.lens_serials = {"F1", "B1"};
  const std::string file = shot.at("serial.template.yaml");
  REQUIRE(write_template(file, *body));
  const auto stitched = [&] {
    const auto ran = run({"stitch", "--template", file, shot.front(), shot.back(), "--width", "128",
                          "--seam", "plain", "--out", shot.at("room.tif")});
    INFO(ran.err);
    REQUIRE(ran.exit_code != 1);
    return ran.err;
  };
  CHECK_THAT(stitched(), !Catch::Contains("come from") && !Catch::Contains("comes from"));
  set_serial(shot.front(), "0117", "F1");
  set_serial(shot.back(), "0117", "B2");
  CHECK_THAT(stitched(), Catch::Contains("the frame of lens 1 comes from lens B2, the template was "
                                         "learned with B1"));
  for (const std::string& frame : {shot.front(), shot.back()}) set_serial(frame, "0218");
  CHECK_THAT(stitched(), Catch::Contains("the frames come from body 0218, the template was learned "
                                         "for body 0117; give the template of that body"));
}

TEST_CASE("import takes the template whose body has the serial number of the frames") {
  if (test::program().empty()) return;
  const test::DayCard day;
  // Of the same rig and without a number in the label: nothing but the serial tells them apart.
  std::vector<std::string> words = {"import", day.card().string(), "--out", day.house().string()};
  for (const auto& [name, serial] : {std::pair("A", "0300"), {"C", "0117"}}) {
    auto body = read_template(day.template_of(name));
    REQUIRE(body);
    body->body = fmt::format("Lantern {}", name);
    body->files.body_serial = serial;
    fs::remove(day.template_of(name));
    REQUIRE(write_template(day.template_of(name), *body));
    words.insert(words.end(), {"--template", day.template_of(name)});
  }
  day.take_single("100", 1, 0);
  const auto ran = run(words);
  INFO(ran.err);
  CHECK_THAT(get_file(day.run_file()), Catch::Contains("body: \"Lantern C\""));
}
