// What the program says and does of input that is wrong: the table of docs/wrong-input.md, row by
// row. Frames are the demo's, so that the true template is known.

#include <algorithm>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "base/file.h"
#include "imaging/metadata.h"
#include "imaging/orient.h"
#include "imaging/read_image.h"
#include "imaging/write_image.h"
#include "templates/rig_template.h"
#include "tests/cli/run.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;
namespace fs = std::filesystem;

namespace {

constexpr int kHouseFrame_px = 640;

/// Three stands of the demo with the body's true template, and another body's.
class DemoHouse {
 public:
  DemoHouse() {
    const std::string frame = fmt::format("{}", kHouseFrame_px);
    const auto demo = test::run({"demo", (dir_ / "demo").string(), "--frame", frame,
                                 "--no-panoramas", "--shots", "library_1", "hall_1", "library_3"});
    REQUIRE(demo.exit_code == 0);
    auto body = read_template(dir_ / "demo/truth/body.template.yaml");
    REQUIRE(body);
    body_ = std::move(*body);
    put_template("true", body_.solution.rig);
  }

  [[nodiscard]] std::string at(const std::string& name) const { return (dir_ / name).string(); }
  [[nodiscard]] std::string frame(const std::string& shot, const std::string& lens) const {
    return at(fmt::format("demo/frames/{}_{}.tif", shot, lens));
  }
  [[nodiscard]] const Rig& rig() const { return body_.rig(); }

  std::string put_template(const std::string& name, const Rig& rig) const {
    RigTemplate body = body_;
    body.solution.rig = rig;
    const std::string file = at(name + ".template.yaml");
    REQUIRE(write_template(file, body));
    return file;
  }
  /// The template of this body before lens 1 was turned by so much.
  std::string put_knocked(const std::string& name, double deg) const {
    Rig rig = body_.rig();
    Quat& mount = rig.lenses[1].rig_from_lens;
    mount =
        quat_from_rotation_vector(rad_from_deg(deg) * Vec3(0.5, 0.7, -0.5).normalized()) * mount;
    return put_template(name, rig);
  }
  /// A frame changed, as a new file with the old one's EXIF.
  std::string put(const std::string& name, const std::string& from,
                  const std::function<Image(Image)>& changed) const {
    auto image = read_image(from);
    const auto info = read_frame_info(from);
    REQUIRE(image);
    REQUIRE(info);
    const std::string file = at(name);
    REQUIRE(write_image(file, changed(std::move(*image)), {.info = *info}));
    return file;
  }

 private:
  test::ScratchDir dir_;
  RigTemplate body_;
};

const DemoHouse& demo_house() {
  static const DemoHouse house;
  return house;
}

/// A row of the table.
struct WrongInput {
  std::string what;                    ///< as the page names it
  std::vector<std::string> arguments;  ///< of `stitch`, but for --out and --width
  std::string said;                    ///< on stderr
  int exit_code = 1;
  bool written = false;
};

// Runs a row; what is written is whole, and nothing else is.
test::Ran check_row(const WrongInput& row) {
  CAPTURE(row.what);
  const test::ScratchDir out;
  const std::string panorama = (out / "out.tif").string();
  std::vector<std::string> arguments = {"stitch"};
  arguments.insert(arguments.end(), row.arguments.begin(), row.arguments.end());
  for (const char* word : {"--out", panorama.c_str(), "--width", "512", "--seam", "plain"})
    arguments.emplace_back(word);
  const auto ran = test::run(arguments);
  CAPTURE(ran.err);
  CHECK(ran.exit_code == row.exit_code);
  CHECK(ran.err.find(row.said) != std::string::npos);
  std::vector<std::string> files;
  for (const auto& entry : fs::directory_iterator(out.path())) {
    files.push_back(entry.path().filename().string());
  }
  CHECK(files == (row.written ? std::vector<std::string>{"out.tif"} : std::vector<std::string>{}));
  if (row.written) {
    const auto image = read_image(panorama);
    REQUIRE(image);
    CHECK(image->width() == 512);
  }
  const auto page = read_file(fs::path(SEAMWRIGHT_SOURCES) / "docs/wrong-input.md");
  REQUIRE(page);
  CHECK(page->find(fmt::format("| {} |", row.what)) != std::string::npos);
  return ran;
}

}  // namespace

TEST_CASE("frames that do not fit are refused with their cause", "[wrong]") {
  const DemoHouse& house = demo_house();
  const std::string front = house.frame("library_1", "front"),
                    back = house.frame("library_1", "back");
  const std::string body = house.at("true.template.yaml");
  const auto turned = [&](const std::string& name, const std::string& from, int turns) {
    return house.put(name, from, [=](Image image) { return rotate_quarter_turns(image, turns); });
  };
  const auto flipped = [&](const std::string& name, const std::string& from) {
    return house.put(name, from, [](const Image& image) { return mirror_left_right(image); });
  };
  SECTION("frames of two shots") {
    check_row({"frames of two shots",
               {"--template", body, front, house.frame("hall_1", "back")},
               "the frames are not of one shot"});
  }
  SECTION("frames of two stands of one room") {
    check_row({"frames of two stands of one room",
               {"--template", body, front, house.frame("library_3", "back")},
               "the frames are not of one shot"});
  }
  SECTION("the lenses' frames swapped") {
    check_row({"the lenses' frames swapped",
               {"--template", body, back, front},
               "the lenses are swapped: the other way round they fit; name the frames in the "
               "template's order; --anyway stitches it all the same"});
  }
  SECTION("mirrored frames") {
    check_row({"mirrored frames",
               {"--template", body, flipped("mf.tif", front), flipped("mb.tif", back)},
               "the frames are mirrored: flipped, they fit the template; give --mirrored"});
  }
  SECTION("mirroring asked for where nothing is mirrored") {
    check_row({"`--mirrored` for frames that are not",
               {"--template", body, "--mirrored", front, back},
               "the frames are mirrored: flipped, they fit the template"});
  }
  SECTION("a frame on its side") {
    check_row({"one frame turned by a quarter",
               {"--template", body, front, turned("qb.tif", back, 3)},
               "frames are turned: set upright by quarter turns, they fit; give --turns 0 1"});
  }
  SECTION("both on their sides") {
    check_row({"both frames turned by a quarter",
               {"--template", body, turned("rf.tif", front, 3), turned("rb.tif", back, 3)},
               "frames are turned: set upright by quarter turns, they fit; give --turns 1 1"});
  }
  SECTION("upside down") {
    check_row(
        {"both frames upside down",
         {"--template", body, turned("hf.tif", front, 2), turned("hb.tif", back, 2)},
         "the frames stand on their heads: turned by 180 degrees, they fit; give --turns 2 2"});
  }
  SECTION("and what is told to mend it does") {
    check_row({"the same, with the remedy taken",
               {"--template", body, turned("rf.tif", front, 3), turned("rb.tif", back, 3),
                "--turns", "1", "1"},
               "out.tif: 512 x 256 px",
               0,
               true});
  }
  SECTION("another body's template") {
    check_row({"another body's template",
               {"--template", house.put_knocked("other", 2.5), front, back},
               "this is another body's template"});
  }
  SECTION("anyway") {
    check_row({"swapped frames with `--anyway`",
               {"--template", body, back, front, "--anyway"},
               "finding: the lenses are swapped",
               2,
               true});
  }
}

TEST_CASE("a knock is touched, told and recorded", "[wrong]") {
  const DemoHouse& house = demo_house();
  const std::string front = house.frame("hall_1", "front"), back = house.frame("hall_1", "back");
  const std::string knocked = house.put_knocked("knocked", 0.5);
  const test::Ran touched = check_row({"a body that was knocked by half a degree",
                                       {"--template", knocked, front, back, "--json"},
                                       "note: the body was knocked: a lens turned by",
                                       0,
                                       true});
  CHECK(touched.json()["fit"]["verdict"] == "knocked");
  CHECK(touched.json()["fit"]["knock_deg"].get<double>() == Approx(0.5).margin(0.06));
  check_row({"the same with `--no-touch`",
             {"--template", knocked, front, back, "--no-touch"},
             "finding: the body was knocked",
             2,
             true});
  // check tells it with a picture of the place.
  const std::string page = house.at("page.html");
  CHECK(test::run({"check", "--template", knocked, front, back, "--page", page}).exit_code == 2);
  CHECK_THAT(test::get_file(page),
             Catch::Contains("The lenses sit") && Catch::Contains("<figure><img alt=\"Longitude"));
  // The panorama says what was moved, and is nearly that of the right template.
  const std::string mended = house.at("mended.tif"), right = house.at("right.tif");
  const auto stitch = [&](const std::string& body, const std::string& out) {
    return test::run({"stitch", "--template", body, front, back, "--out", out, "--width", "512",
                      "--seam", "plain"});
  };
  REQUIRE(stitch(knocked, mended).exit_code == 0);
  REQUIRE(stitch(house.at("true.template.yaml"), right).exit_code == 0);
  const auto info = read_panorama_info(mended);
  REQUIRE((info && *info && (*info)->made_from));
  CHECK_FALSE((*info)->made_from->touch.empty());
  CHECK_THAT((*info)->made_from->touch.front(), Catch::Contains("lens1.rotation"));
  const auto plain = read_panorama_info(right);
  REQUIRE((plain && *plain && (*plain)->made_from));
  CHECK((*plain)->made_from->touch.empty());
}

TEST_CASE("too little to tell by makes a panorama with a finding", "[wrong]") {
  const DemoHouse& house = demo_house();
  const std::string body = house.at("true.template.yaml");
  const std::string front = house.frame("library_1", "front");
  const auto grey = [&](const std::string& name, std::uint16_t code) {
    return house.put(name, front, [=](Image image) {
      for (int y = 0; y < image.height(); ++y) std::ranges::fill(image.row<std::uint16_t>(y), code);
      return image;
    });
  };
  check_row({"frames that show nothing",
             {"--template", body, grey("g1.tif", 20000), grey("g2.tif", 21000)},
             "finding: only 0 places are recognised in two lenses",
             2,
             true});
  check_row({"one frame black",
             {"--template", body, front, grey("b.tif", 0)},
             "finding: only 0 places are recognised in two lenses",
             2,
             true});
}

TEST_CASE("files that cannot be a shot are refused by name", "[wrong]") {
  const DemoHouse& house = demo_house();
  const std::string body = house.at("true.template.yaml");
  const std::string front = house.frame("library_1", "front"),
                    back = house.frame("library_1", "back");
  check_row({"one frame given twice", {"--template", body, front, front}, front});
  const std::string small = house.put(
      "small.tif", back, [](const Image& image) { return crop(image, 40, 40, 560, 560); });
  check_row({"frames of two sizes", {"--template", body, front, small}, "560 × 560"});
  const std::string flat_f =
      house.put("wf.tif", front, [](const Image& i) { return crop(i, 0, 80, 640, 480); });
  const std::string flat_b =
      house.put("wb.tif", back, [](const Image& i) { return crop(i, 0, 80, 640, 480); });
  check_row({"frames of another shape than the template's",
             {"--template", body, flat_f, flat_b},
             "640 x 480 px does not have the shape of the template's 640 x 640"});
  const auto four = starter_template("four-ring", kHouseFrame_px, kHouseFrame_px);
  REQUIRE(four);
  REQUIRE(write_template(house.at("four.yaml"), *four));
  check_row({"a template of another number of lenses",
             {"--template", house.at("four.yaml"), front, back},
             "lens"});
  const auto bytes = read_file(front);
  REQUIRE(bytes);
  REQUIRE(write_file(house.at("torn.tif"), bytes->substr(0, bytes->size() / 2)));
  check_row({"a frame cut short", {"--template", body, house.at("torn.tif"), back}, "cut short"});
  REQUIRE(write_file(house.at("words.tif"), "these are words"));
  check_row({"a frame that is no picture",
             {"--template", body, house.at("words.tif"), back},
             "words.tif"});
  check_row({"a picture in place of the template", {"--template", front, front, back}, front});
  check_row({"a template that is not there",
             {"--template", house.at("none.yaml"), front, back},
             "none.yaml"});
  check_row({"`--brighter-ev` for single frames without a look",
             {"--template", body, front, back, "--brighter-ev", "1"},
             "--brighter-ev: changes nothing: these frames were made for displays"});
  check_row({"`--light` without brackets",
             {"--template", body, front, back, "--light", house.at("l.tif")},
             "--light: there is no light to keep"});
  CHECK_FALSE(fs::exists(house.at("l.tif")));
}

TEST_CASE("restitch refuses what does not fit, goes on, and says a shared cause once", "[wrong]") {
  const DemoHouse& house = demo_house();
  const std::string body = house.at("true.template.yaml");
  const test::ScratchDir dir;
  fs::create_directories(dir / "card");
  const auto put = [&](const std::string& shot, const std::string& front, const std::string& back) {
    fs::copy_file(house.frame(front, "front"), dir / "card" / (shot + "_front.tif"));
    fs::copy_file(house.frame(back, "back"), dir / "card" / (shot + "_back.tif"));
  };
  put("a", "library_1", "library_1");
  put("b", "library_1", "library_3");
  put("c", "hall_1", "hall_1");
  const auto restitch = [&](const std::string& body_file, const std::string& out,
                            std::vector<std::string> more = {}) {
    more.insert(more.begin(), {"restitch", (dir / "card").string(), "--template", body_file,
                               "--out", (dir / out).string(), "--width", "256", "--seam", "plain",
                               "--pattern", "(?<shot>\\w)_(?<lens>front|back)\\.tif"});
    return test::run(more);
  };
  const auto some = restitch(body, "some");
  CAPTURE(some.err);
  CHECK(some.exit_code == 2);
  CHECK_THAT(some.err, Catch::Contains("b: failed: b: the frames are not of one shot"));
  CHECK_THAT(some.err, Catch::Contains("2 stitched"));
  CHECK_FALSE(fs::exists(dir / "some/b.tif"));
  const auto again = restitch(body, "some");
  CHECK_THAT(again.err, Catch::Contains("2 done before"));
  fs::remove(dir / "card/b_front.tif");
  fs::remove(dir / "card/b_back.tif");
  const auto none = restitch(house.put_knocked("foreign", 2.5), "none");
  CAPTURE(none.err);
  CHECK(none.exit_code == 1);
  CHECK_THAT(none.err, Catch::Contains("none of the 2 shots fits: this is another body's template; "
                                       "give this body's template"));
  CHECK(none.err.find("give this body's template") == none.err.rfind("give this body's template"));
  CHECK_FALSE(fs::exists(dir / "none/a.tif"));
  const auto day = restitch(house.put_knocked("leaning", 0.5), "day");
  CAPTURE(day.err);
  CHECK(day.exit_code == 0);
  CHECK_THAT(day.err, Catch::Contains("note: all 2 shots lean lens 1 by 0.4"));
  CHECK_THAT(day.err, Catch::Contains("learn it again from these: seamwright learn --shot "));
  CHECK(day.err.find("note:") == day.err.rfind("note:"));
}
