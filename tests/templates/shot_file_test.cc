#include "templates/shot_file.h"

#include <catch2/catch.hpp>

#include "templates/shot_limits.h"
#include "tests/support/random.h"
#include "tests/support/scratch_dir.h"
#include "tests/templates/random_shot.h"
#include "tests/templates/sample.h"

using namespace seamwright;
using namespace seamwright::test;

namespace {

const std::string kShotSample = R"(format: seamwright-shot
version: 1
frames: ["frames/hall_front.tif", "frames/hall_back.tif"]
layout: one-per-file
lens_count: 2
quarter_turns: [1, 3]
mirrored: true
template: {file: "../lantern.template.yaml", sha256: "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"}
manual_ties:
  - range: far
    sigma_px: 0.5
    sights:
      - {lens: 0, u_px: 100.25, v_px: 900}
      - {lens: 1, u_px: 1890.5, v_px: 901}
)";

void require_shot_refused(const std::string& text, int line, const std::string& says) {
  const auto result = parse_shot_file(text, "s.yaml");
  INFO(text);
  REQUIRE_FALSE(result);
  const std::string message = result.error().line();
  CAPTURE(message);
  CHECK(message.rfind(fmt::format("s.yaml:{}: ", line), 0) == 0);
  CHECK(message.find(says) != std::string::npos);
  CHECK_FALSE(result.error().remedy.empty());
}

// The same of a file in which one thing is changed, on whose line the error is.
void require_shot_edit_refused(const std::string& text, const std::string& from,
                               const std::string& to, const std::string& says) {
  CAPTURE(from, to);
  require_shot_refused(edited(text, from, to), line_of(text, from), says);
}

void require_shot_edit_refused(const std::string& from, const std::string& to,
                               const std::string& says) {
  require_shot_edit_refused(kShotSample, from, to, says);
}

void require_same_shot(const ShotFile& a, const ShotFile& b) {
  CHECK(a.frames == b.frames);
  CHECK(a.intake.layout == b.intake.layout);
  CHECK(a.intake.lens_count == b.intake.lens_count);
  CHECK(a.intake.quarter_turns == b.intake.quarter_turns);
  CHECK(a.intake.mirrored == b.intake.mirrored);
  CHECK(a.rig_template == b.rig_template);
  CHECK(a.manual_ties == b.manual_ties);
  CHECK(a.touch == b.touch);
  CHECK(a.seam == b.seam);
  CHECK(a.brackets == b.brackets);
  CHECK(a.verticals == b.verticals);
}

const std::string kTouched = edited(kShotSample, "version: 1", "version: 2") + R"(touch:
  terms:
    lens0.focal_px: 0.125
    lens1.rotation_x_deg: -0.25
    lens1.pupil_y: 0.0001
)";

const std::string kStroked = edited(kShotSample, "version: 1", "version: 3") + R"(seam:
  - wish: away
    reach_deg: 1.5
    path_deg:
      - [88.5, -12]
      - [91, -3.25]
  - wish: lens
    lens: 1
    reach_deg: 2
    path_deg: [[-90, 4]]
)";

const std::string kBracketed = edited(kShotSample, "version: 1", "version: 4") + R"(brackets:
  - - {file: "frames/hall_1_front.tif", ev: -3}
    - {file: "frames/hall_front.tif", ev: 0}
    - {file: "frames/hall_3_front.tif", ev: 2}
  - - {file: "frames/hall_back.tif"}
    - {file: "frames/hall_3_back.tif"}
)";

const std::string kMarked = edited(kShotSample, "version: 1", "version: 5") + R"(verticals:
  - ends_deg: [[-31.25, 18.5], [-30.75, -22]]
  - ends_deg: [[58, 40], [58.5, -3]]
)";

}  // namespace

TEST_CASE("a shot file is read", "[templates]") {
  const auto shot = parse_shot_file(kShotSample, "s.yaml");
  if (!shot) FAIL(shot.error().line());
  CHECK(shot->frames ==
        std::vector<std::filesystem::path>{"frames/hall_front.tif", "frames/hall_back.tif"});
  CHECK(shot->intake.layout == FrameLayout::one_per_file);
  CHECK(shot->intake.quarter_turns == std::vector<int>{1, 3});
  CHECK(shot->intake.mirrored);
  REQUIRE(shot->rig_template);
  CHECK(shot->rig_template->file == "../lantern.template.yaml");
  REQUIRE(shot->manual_ties.size() == 1);
  const Tie tie = shot->manual_ties[0].as_tie(3);
  CHECK(tie.shot == 3);
  CHECK(tie.range == TieRange::far);
  CHECK(tie.origin == TieOrigin::manual);
  REQUIRE(tie.sights.size() == 2);
  CHECK(tie.sights[1].lens == 1);
  CHECK(tie.sights[1].px == Vec2(1890.5, 901));
  CHECK(tie.sights[1].covariance_px2 == Mat2(Mat2::Identity() * 0.25));
  CHECK(beside_shot_file("job/hall.shot.yaml", shot->rig_template->file) ==
        "lantern.template.yaml");
}

TEST_CASE("a shot file reads back as it was written", "[templates]") {
  CAPTURE(seed());
  Random random(30);
  const ScratchDir scratch;
  for (int k = 0; k < 100; ++k) {
    const ShotFile shot = random_shot(random);
    const auto path = scratch / "s.shot.yaml";
    const auto written = write_shot_file(path, shot);
    if (!written) FAIL(written.error().line());
    const auto again = read_shot_file(path);
    if (!again) FAIL(again.error().line());
    require_same_shot(*again, shot);
  }
  ShotFile absolute = random_shot(random);
  absolute.frames[0] = "/photos/front.tif";
  CHECK_FALSE(write_shot_file(scratch / "a.shot.yaml", absolute));
  CHECK(scratch.entry_count() == 2);  // and the version before
}

TEST_CASE("brackets are read, one list for each frame", "[templates]") {
  const auto shot = parse_shot_file(kBracketed, "s.yaml");
  if (!shot) FAIL(shot.error().line());
  REQUIRE(shot->brackets.size() == 2);
  CHECK(shot->brackets[0].size() == 3);
  CHECK(shot->brackets[0][2] == BracketFrame{"frames/hall_3_front.tif", 2.0});
  CHECK(shot->brackets[1][0] == BracketFrame{"frames/hall_back.tif", std::nullopt});

  const auto refused = [&](const std::string& from, const std::string& to, const std::string& at,
                           const std::string& says) {
    const std::string text = edited(kBracketed, from, to);
    require_shot_refused(text, line_of(text, at), says);
  };
  refused("version: 4", "version: 3", "brackets:", "unknown key 'brackets'");
  refused("{file: \"frames/hall_1_front.tif\", ev: -3}", "{file: \"frames/hall_1_front.tif\"}",
          "hall_1_front", "'ev' stands at 2 of 3");
  refused("    - {file: \"frames/hall_3_back.tif\"}\n", "", "  - - {file: \"frames/hall_back",
          "1 exposures");
  refused("ev: 2", "ev: 200", "hall_3_front", "200 is outside -30…30 stops");
  refused("ev: 2", "ev: two", "hall_3_front", "number");
  refused("{file: \"frames/hall_back.tif\"}", "{file: \"frames/hall_2_back.tif\"}", "hall_2_back",
          "does not hold frames/hall_back.tif");
  refused("{file: \"frames/hall_back.tif\"}", "{file: \"/frames/hall_back.tif\"}",
          "/frames/hall_back", "absolute");
  refused("  - - {file: \"frames/hall_back.tif\"}\n", "", "brackets:", "holds 1 lists");
}

TEST_CASE("a touch is read, and its template must be named by its hash", "[templates]") {
  const auto shot = parse_shot_file(kTouched, "s.yaml");
  if (!shot) FAIL(shot.error().line());
  REQUIRE(shot->touch);
  // In the order of the file.
  CHECK(shot->touch->names ==
        std::vector<std::string>{"lens0.focal_px", "lens1.rotation_x_rad", "lens1.pupil_y"});
  CHECK(shot->touch->step == std::vector<double>{0.125, rad_from_deg(-0.25), 0.0001});

  const auto refused = [&](const std::string& from, const std::string& to, const std::string& at,
                           const std::string& says) {
    const std::string text = edited(kTouched, from, to);
    require_shot_refused(text, line_of(text, at), says);
  };
  const std::string hash = kShotSample.substr(kShotSample.find(", sha256"), 76);
  refused(hash, "", "touch:", "belongs to one very template");
  refused("template: {file: \"../lantern.template.yaml\"" + hash + "}\n", "",
          "touch:", "belongs to one very template");
  refused("lens0.focal_px", "lens0.focal_mm", "lens0.focal_mm", "wrong unit");
  refused("lens0.focal_px", "lens0.colour", "lens0.colour", "unknown key");
  refused("rotation_x_deg", "rotation_x_rad", "rotation_x_rad", "give 'lens1.rotation_x_deg'");
  refused("lens1.pupil_y", "lens2.pupil_y", "lens2.pupil_y", "unknown key");
  refused("lens1.pupil_y", "lens0.pupil_y", "lens0.pupil_y", "unknown key");  // fixes the rig
  refused("0.125", ".nan", "lens0.focal_px", "is not a finite number");
  refused("0.125", "1e400", "lens0.focal_px", "is not a finite number");
  refused("0.125", "\"0.125\"", "lens0.focal_px", "is text in quotes");
  refused("-0.25", "-400", "rotation_x_deg", "-400 is outside -360…360 degrees");
  refused("  terms:", "  words:", "words", "unknown key 'words'");
}

TEST_CASE("a shot file of version 1 holds no touch, and none is written as version 1",
          "[templates]") {
  const std::string old = edited(kTouched, "version: 2", "version: 1");
  require_shot_refused(old, line_of(old, "touch:"), "unknown key 'touch'");
  auto shot = parse_shot_file(kTouched, "s.yaml");
  REQUIRE(shot);
  CHECK(format_shot_file(*shot).find("version: 6") != std::string::npos);
  shot->touch.reset();
  CHECK(format_shot_file(*shot).find("version: 1") != std::string::npos);
}

TEST_CASE("strokes of the seam are read, and wrong ones refused", "[templates]") {
  const auto shot = parse_shot_file(kStroked, "s.yaml");
  if (!shot) FAIL(shot.error().line());
  REQUIRE(shot->seam.size() == 2);
  CHECK(shot->seam[0].wish == StrokeWish::away);
  CHECK(shot->seam[0].reach_rad == rad_from_deg(1.5));
  CHECK(shot->seam[0].path == std::vector<PanoramaPlace>{{rad_from_deg(88.5), rad_from_deg(-12)},
                                                         {rad_from_deg(91), rad_from_deg(-3.25)}});
  CHECK(shot->seam[1].wish == StrokeWish::lens);
  CHECK(shot->seam[1].lens == 1);
  CHECK(format_shot_file(*shot).find("version: 3") != std::string::npos);

  const auto refused = [](const char* from, const char* to, const char* says) {
    require_shot_edit_refused(kStroked, from, to, says);
  };
  refused("wish: away", "wish: off", "choose one of away, here, lens");
  refused("    reach_deg: 1.5", "    lens: 1\n    reach_deg: 1.5", "'wish: lens' only");
  refused("    lens: 1\n    reach", "    lens: 2\n    reach", "from 0 to 1");
  refused("reach_deg: 1.5", "reach_deg: 0", "0 is outside 1e-06…90 degrees");
  refused("reach_deg: 1.5", "reach_deg: 91", "91 is outside 1e-06…90 degrees");
  refused("reach_deg: 1.5", "reach_px: 1.5", "give 'reach_deg'");
  refused("[88.5, -12]", "[188.5, -12]", "188.5 is outside -180…180 degrees");
  refused("[88.5, -12]", "[88.5, -92]", "beyond ±90");
  refused("[88.5, -12]", "[88.5]", "give 2 in square");
  refused("[[-90, 4]]", "[]", "is empty");
  const std::string old = edited(kStroked, "version: 3", "version: 2");
  require_shot_refused(old, line_of(old, "seam:"), "unknown key 'seam'");
}

TEST_CASE("marked upright edges are read, and wrong ones refused", "[templates]") {
  const auto shot = parse_shot_file(kMarked, "s.yaml");
  if (!shot) FAIL(shot.error().line());
  REQUIRE(shot->verticals.size() == 2);
  CHECK(shot->verticals[0].ends[0] == PanoramaPlace{rad_from_deg(-31.25), rad_from_deg(18.5)});
  CHECK(shot->verticals[1].ends[1] == PanoramaPlace{rad_from_deg(58.5), rad_from_deg(-3)});
  const std::string written = format_shot_file(*shot);
  CHECK_THAT(written, Catch::Contains("version: 5") &&
                          Catch::Contains("  - ends_deg: [[-31.25, 18.5], [-30.75, -22]]\n"));

  const auto refused = [](const char* from, const char* to, const char* says) {
    require_shot_edit_refused(kMarked, from, to, says);
  };
  refused("[58, 40]", "[58, .nan]", "not a finite number");
  refused("[58, 40]", "[.inf, 40]", "not a finite number");
  refused("[58, 40]", "[58, \"40\"]", "text in quotes");
  refused("[58, 40]", "[258, 40]", "258 is outside -180…180 degrees");
  refused("[58, 40]", "[58, 140]", "beyond ±90");
  refused("[58, 40]", "[58]", "give 2 in square");
  refused("[58, 40], ", "", "holds 1 places");
  refused("[58, 40], ", "[58, 40], [58, 20], ", "holds 3 places");
  refused("[58, 40]", "[58.5, -3]", "too close together");
  refused("[58, 40]", "[58.5, -2.6]", "too close together");
  refused("[58, 40]", "[-121.5, 3]", "or opposite");
  // At the pole every longitude is one place.
  refused("[[58, 40], [58.5, -3]]", "[[58, 90], [120, 90]]", "too close together");
  refused("ends_deg: [[58", "ends_rad: [[58", "give 'ends_deg'");
  refused("ends_deg: [[58", "lens: 1\n    ends_deg: [[58", "unknown key 'lens'");
  const std::string old = edited(kMarked, "version: 5", "version: 4");
  require_shot_refused(old, line_of(old, "verticals:"), "unknown key 'verticals'");

  std::string many = kMarked;
  for (std::size_t i = 2; i < UprightEdge::kMostOfShot; ++i) {
    many += "  - ends_deg: [[58, 40], [58.5, -3]]\n";
  }
  CHECK(parse_shot_file(many, "s.yaml"));
  many += "  - ends_deg: [[58, 40], [58.5, -3]]\n";
  require_shot_refused(many, line_of(many, "verticals:"), "holds 101 edges");
}

TEST_CASE("template and ties may be left out", "[templates]") {
  const auto shot = parse_shot_file(kShotSample.substr(0, kShotSample.find("template:")), "s.yaml");
  if (!shot) FAIL(shot.error().line());
  CHECK_FALSE(shot->rig_template);
  CHECK(shot->manual_ties.empty());
}

TEST_CASE("absolute paths are refused with a remedy", "[templates]") {
  for (const char* path : {"/frames/a.tif", "C:/a.tif", "C:a.tif", "~/a.tif"}) {
    require_shot_edit_refused("frames/hall_front.tif", path, "is absolute; give it relative");
  }
  require_shot_edit_refused("frames/hall_front.tif", R"(\\\\host\\a.tif)", "is absolute");
  require_shot_edit_refused("frames/hall_front.tif", R"(frames\\a.tif)", "has a backslash");
  require_shot_edit_refused("../lantern.template.yaml", "/lantern.template.yaml", "is absolute");
  require_shot_edit_refused("frames/hall_front.tif", "", "is not a line of text");
}

TEST_CASE("names like a home or a drive stand after ./", "[templates]") {
  for (const char* name : {"~/a.tif", "~a.tif", "C:a.tif", "C:/a.tif", "x:"}) {
    CAPTURE(name);
    const auto shot = parse_shot_file(
        edited(kShotSample, "frames/hall_front.tif", std::string("./") + name), "s.yaml");
    if (!shot) FAIL(shot.error().line());
    CHECK(shot->frames[0] == name);
    const auto again = parse_shot_file(format_shot_file(*shot), "s.yaml");
    if (!again) FAIL(again.error().line());
    require_same_shot(*again, *shot);
  }
  const auto plain =
      parse_shot_file(edited(kShotSample, "frames/hall_front", "./hall_front"), "s.yaml");
  REQUIRE(plain);
  CHECK(plain->frames[0] == "./hall_front.tif");
}

TEST_CASE("a shot that would not read back is not written, and the file stays", "[templates]") {
  CAPTURE(seed());
  Random random(33);
  ShotFile shot = random_shot(random);
  const ScratchDir scratch;
  const auto path = scratch / "s.shot.yaml";
  put_file(path, "as it was");
  int refused = 0;
  const auto not_written = [&](const ShotFile& wrong, const std::string& says) {
    const auto written = write_shot_file(path, wrong);
    REQUIRE_FALSE(written);
    CHECK_THAT(written.error().line(), Catch::Contains("s.shot.yaml: ") && Catch::Contains(says));
    CHECK_FALSE(written.error().remedy.empty());
    CHECK(get_file(path) == "as it was");
    CHECK(scratch.entry_count() == 1);
    ++refused;
  };
  for (const char* name :
       {"a\\b.tif", "\\a.tif", "a\tb.tif", "a\nb.tif", "\x7f", "\xff.tif", "./~a.tif"}) {
    CAPTURE(name);
    ShotFile odd = shot;
    odd.brackets.clear();
    odd.frames[0] = name;
    not_written(odd, std::string(name) == "./~a.tif" ? "read back as another" : "not be readable");
    odd = shot;
    odd.rig_template = TemplateReference{.file = name, .sha256 = std::string(64, 'f')};
    not_written(odd, std::string(name) == "./~a.tif" ? "read back as another" : "not be readable");
  }
  ShotFile many = shot;
  const ManualTie tie{.sights = {{0, {1, 2}}, {1, {3, 4}}}};
  many.manual_ties.assign(kMostTiesOfShot + 1, tie);
  not_written(many, "1001 ties");
  many = shot;
  many.manual_ties = {tie};
  many.manual_ties[0].sigma_px = 1001;
  not_written(many, "1001 is outside");
  many = shot;
  many.seam.assign(kMostStrokesOfShot + 1, {.path = {{0, 0}}});
  not_written(many, "501 strokes");
  many.seam.assign(1, {.path = std::vector<PanoramaPlace>(kMostPlacesOfStroke + 1)});
  not_written(many, "2001 places");
  many.seam.assign(21, {.path = std::vector<PanoramaPlace>(kMostPlacesOfStroke)});
  not_written(many, "42000 places");
  CHECK(refused == 19);
}

TEST_CASE("wrong shot files are refused", "[templates]") {
  require_shot_edit_refused("format: seamwright-shot", "format: seamwright-template",
                            "this is not a seamwright-shot file");
  require_shot_edit_refused("version: 1", "version: 7", "7 is newer");
  require_shot_edit_refused("mirrored: true", "exposure: 0.1\nmirrored: true",
                            "unknown key 'exposure'");
  require_shot_edit_refused("layout: one-per-file", "layout: spiral", "choose one of one-per-file");
  require_shot_refused(edited(kShotSample, "layout: one-per-file", "layout: stacked"),
                       line_of(kShotSample, "frames:"),
                       "2 files, but layout stacked with 2 lenses has 1");
  require_shot_refused(edited(kShotSample, "lens_count: 2", "lens_count: 3"),
                       line_of(kShotSample, "frames:"),
                       "2 files, but layout one-per-file with 3 lenses has 3");
  require_shot_edit_refused("lens_count: 2", "lens_count: 1", "from 2 to 8");
  require_shot_edit_refused("lens_count: 2", "lens_count: 9", "from 2 to 8");
  require_shot_edit_refused("[1, 3]", "[1]", "1 turns for 2 lenses");
  require_shot_edit_refused("[1, 3]", "[1, 4]", "from 0 to 3");
  require_shot_edit_refused("range: far", "range: infinite", "choose one of open, near, far");
  require_shot_edit_refused("sigma_px: 0.5", "sigma_px: 0", "0 is outside 1e-06…1000 px");
  require_shot_edit_refused("sigma_px: 0.5", "sigma_mm: 0.5", "give 'sigma_px'");
  require_shot_edit_refused("{lens: 1, u_px: 1890.5", "{lens: 2, u_px: 1890.5", "from 0 to 1");
  require_shot_edit_refused("{lens: 1, u_px: 1890.5", "{lens: 0, u_px: 1890.5", "twice");
  require_shot_edit_refused("u_px: 1890.5", "u_px: .inf", "not a finite number");
  require_shot_refused(edited(kShotSample, "      - {lens: 1, u_px: 1890.5, v_px: 901}\n", ""),
                       line_of(kShotSample, "    sights:"), "needs two lenses");
  require_shot_edit_refused("sha256: \"0123", "sha256: \"4567 123", "is not a SHA-256");
}
