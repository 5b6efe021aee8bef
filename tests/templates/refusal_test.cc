// Every way a template can be wrong, with the line it is blamed on.

#include <catch2/catch.hpp>

#include "templates/rig_template.h"
#include "tests/templates/sample.h"

using namespace seamwright;
using namespace seamwright::test;

namespace {

/// A small valid template written by hand, so that lines are easy to see.
const std::string& sample_text() {
  static const std::string text = [] {
    const std::string lens = R"(  - curve: equidistant
    focal_px: 560.5
    centre_u_px: 1001
    centre_v_px: 999
    radial_1: 0.001
    radial_2: 0
    radial_3: 0
    radial_4: 0
    aspect: 0
    shear: 0
    decentre_u: 0
    decentre_v: 0
    theta_max_deg: 100
    rotation_deg: [0, TURN, 0]
    pupil_m: [0, 0, 0.0135]
    pupil_travel_m: 0
    fringe_red: {a0: 0, a1: 0, a2: 0}
    fringe_blue: {a0: 0, a1: 0, a2: 0}
    vignetting: {v1: -0.1, v2: 0, v3: 0}
)";
    return R"(format: seamwright-template
version: 5
body: "Lantern 0117"
mirrored: false
frame_size_px: [2000, 2000]
lenses:
)" + edited(lens, "TURN", "0") +
           edited(lens, "TURN", "180") + R"(covariance:
  - lens0.focal_px: [0.01]
  - lens1.radial_1: [0.0001, 0.000002]
quality:
  shots: 6
  ties: 400
  ties_rejected: 12
  rms_px: 0.3
  max_px: 0.9
  inlier_share: 0.97
  residual_spread: 1.01
  expected_seam_parallax_px: 0.4
  expected_seam_sideways_px: 0.1
  flex_sigma_deg: 0.01
learned_from:
  - {file: "hall_front.tif", sha256: "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"}
)";
  }();
  return text;
}

/// Parses, demands a refusal of one line that is blamed on `line` and says `says`.
void require_refused(const std::string& text, int line, const std::string& says) {
  const auto result = parse_template(text, "t.yaml");
  INFO(text);
  REQUIRE_FALSE(result);
  const std::string message = result.error().line();
  CAPTURE(message);
  CHECK(message.rfind(fmt::format("t.yaml:{}: ", line), 0) == 0);
  CHECK(message.find(says) != std::string::npos);
  CHECK(message.find('\n') == std::string::npos);
  CHECK_FALSE(result.error().what.empty());
  CHECK_FALSE(result.error().remedy.empty());
  CHECK(result.error().kind == ErrorKind::user_input);
}

/// The sample with `from` replaced, blamed on the line where `from` begins.
void require_edit_refused(const std::string& from, const std::string& to, const std::string& says) {
  CAPTURE(from, to);
  require_refused(edited(sample_text(), from, to), line_of(sample_text(), from), says);
}

}  // namespace

TEST_CASE("the sample itself is accepted", "[templates]") {
  const auto result = parse_template(sample_text(), "t.yaml");
  if (!result) FAIL(result.error().line());
  CHECK(result->rig().lens_count() == 2);
  CHECK(result->rig().lenses[1].lens.terms[kRadial1] == 0.001);
  CHECK(result->solution.covariance.values(0, 1) == 0.0001);
}

TEST_CASE("wrong numbers are refused", "[templates]") {
  for (const char* not_finite : {".nan", "nan", "NaN", "-.inf", "inf", "1e400", "-Infinity"}) {
    require_edit_refused(
        "focal_px: 560.5", fmt::format("focal_px: {}", not_finite),
        "lenses[0].focal_px: '" + std::string(not_finite) + "' is not a finite number");
  }
  for (const char* no_number : {"560.5px", "0x230", "560,5", "five", "1_000", "+5", "5 mm"}) {
    require_edit_refused("focal_px: 560.5", fmt::format("focal_px: {}", no_number),
                         "is not a number");
  }
  require_edit_refused("focal_px: 560.5", "focal_px: \"560.5\"", "is text in quotes");
  require_edit_refused("focal_px: 560.5", "focal_px:", "nothing is not a number");
  require_edit_refused("focal_px: 560.5", "focal_px: [560.5]", "a list is not a number");
  require_edit_refused("focal_px: 560.5", "focal_px: {x: 1}", "a map is not a number");
  require_edit_refused("focal_px: 560.5", "focal_px: -3",
                       "lenses[0].focal_px: -3 is outside 0.001…10000000 px");
  require_edit_refused("shots: 6", "shots: 6.5", "6.5 is not a whole number");
  require_edit_refused("shots: 6", "shots: -1", "-1 is not a whole number");
  require_edit_refused("rms_px: 0.3", "rms_px: -0.3",
                       "quality.rms_px: -0.3 is outside 0…1000000 px");
  require_edit_refused("inlier_share: 0.97", "inlier_share: 97", "97 is outside 0…1");
  require_edit_refused("mirrored: false", "mirrored: no", "'no' is neither true nor false");
  require_edit_refused("mirrored: false", "mirrored: \"true\"", "neither true nor false");
  require_edit_refused("[2000, 2000]", "[2000, 2000, 3]", "frame_size_px");
  require_edit_refused("[2000, 2000]", "[2000, 0]", "frame_size_px[1]: 0 is not a whole number");
  require_edit_refused("[2000, 2000]", "2000", "is not a list");
}

TEST_CASE("unknown, missing, doubled keys and wrong units are refused", "[templates]") {
  require_refused(edited(sample_text(), "radial_1: 0.001", "radial_1: 0.001\n    radial_1: 0.002"),
                  line_of(sample_text(), "radial_1: 0.001") + 1,
                  "the key 'radial_1' stands here twice");
  require_edit_refused("radial_1: 0.001", "radial_5: 0.001", "lenses[0]: unknown key 'radial_5'");
  require_edit_refused("focal_px:", "focal_mm:",
                       "lenses[0]: the key 'focal_mm' has the wrong unit; give 'focal_px'");
  require_edit_refused("focal_px:", "focal:", "the key 'focal' has the wrong unit");
  require_edit_refused("theta_max_deg:", "theta_max_rad:", "give 'theta_max_deg'");
  require_edit_refused("rotation_deg:", "rotation_rad:", "give 'rotation_deg'");
  require_edit_refused("pupil_m:", "pupil_mm:", "give 'pupil_m'");
  require_edit_refused("frame_size_px:", "frame_size:", "give 'frame_size_px'");
  require_edit_refused("flex_sigma_deg:", "flex_sigma_rad:", "give 'flex_sigma_deg'");
  require_edit_refused("a1: 0,", "a3: 0,", "lenses[0].fringe_red: unknown key 'a3'");
  require_edit_refused("v2: 0,", "", "the key 'v2' is missing");
  require_edit_refused("body: \"Lantern 0117\"\n", "colour: red\nbody: x\n",
                       "unknown key 'colour'");

  const auto without = [](const std::string& line_text) {
    return edited(sample_text(), line_text + "\n", "");
  };
  const int lens_line = line_of(sample_text(), "  - curve");
  require_refused(without("    radial_3: 0"), lens_line,
                  "lenses[0]: the key 'radial_3' is missing");
  require_refused(without("body: \"Lantern 0117\""), 1, "the key 'body' is missing");
  require_refused(without("version: 5"), 1, "the key 'version' is missing");
  require_refused(without("frame_size_px: [2000, 2000]"), 1, "'frame_size_px' is missing");
}

TEST_CASE("pupils all have one unit, of a body's size", "[templates]") {
  std::string text = edited(sample_text(), "pupil_m:", "pupil_baselines:");
  require_refused(text, line_of(text, "pupil_travel_m"), "give 'pupil_travel_baselines'");
  text = edited(text, "pupil_travel_m:", "pupil_travel_baselines:");
  require_refused(text, line_of(text, "pupil_m:"),
                  "lenses[1]: the key 'pupil_m' has the wrong unit; give 'pupil_baselines'");
  require_edit_refused("pupil_m: [0, 0, 0.0135]", "pupil_m: [0, 0, 13.5]",
                       "13.5 is outside -2…2 metres");
  require_edit_refused("pupil_m: [0, 0, 0.0135]", "pupil_m: [0, 0]", "holds 2 numbers");
}

TEST_CASE("geometry that is no lens or no rig is refused", "[templates]") {
  require_edit_refused("curve: equidistant", "curve: pinhole", "'pinhole' is not known here");
  require_edit_refused("theta_max_deg: 100", "theta_max_deg: 0", "theta_max_deg: 0 is outside");
  require_edit_refused("theta_max_deg: 100", "theta_max_deg: 200", "is outside 0…180");
  require_edit_refused("rotation_deg: [0, 0, 0]", "rotation_deg: [0, 1, 0]",
                       "lens 0 fixes the rig's orientation");
  require_edit_refused("rotation_deg: [0, 180, 0]", "rotation_deg: [0, 1e300, 0]",
                       "1e+300 is outside -360…360 degrees");
  require_edit_refused("aspect: 0", "aspect: -2", "is no lens");

  // r/f = sin θ folds at 90° (Schneider, Schwalbe, Maas 2009), inside the stated 100°.
  const std::string folding = edited(sample_text(), "curve: equidistant", "curve: orthographic");
  require_refused(folding, line_of(folding, "theta_max_deg"), "folds at");
  // 1 + 3 radial_1 θ² = 0 at θ = 1/√(0.6): 73.969°.
  const std::string bent = edited(sample_text(), "radial_1: 0.001", "radial_1: -0.2");
  require_refused(bent, line_of(bent, "theta_max_deg"), "folds at 73.969");

  const std::string& text = sample_text();
  const auto second = text.find("  - curve", text.find("  - curve") + 1);
  const auto end = text.find("covariance:");
  const std::string one_lens = text.substr(0, second) + text.substr(end);
  require_refused(one_lens, line_of(text, "lenses:"), "1 lenses");
  const std::string no_lens = text.substr(0, text.find("  - curve")) + text.substr(end);
  require_refused(no_lens, line_of(text, "lenses:"), "nothing is not a list");
}

TEST_CASE("a covariance that is none is refused", "[templates]") {
  const int at = line_of(sample_text(), "covariance:");
  const auto with_second_row = [](const std::string& row) {
    return edited(sample_text(), "- lens1.radial_1: [0.0001, 0.000002]", row);
  };
  require_refused(with_second_row("- lens1.radial_1: [0.0002, 0.000002]"), at, "beyond 1");
  require_refused(with_second_row("- lens1.radial_1: [0.0001, -0.000002]"), at, "below 0");
  require_refused(with_second_row("- lens1.radial_1: [0.0001, 0]"), at, "has no variance");
  // Each pair is a possible correlation; the three together are not.
  require_refused(
      with_second_row("- lens1.radial_1: [0.09, 1]\n  - lens1.radial_2: [0.09, -0.9, 1]"), at,
      "is not positive definite");
  require_refused(with_second_row("- lens1.radial_1: [0.0001]"), at + 2, "holds 1 numbers");
  require_refused(with_second_row("- lens1.radial_1: [0.0001, .nan]"), at + 2,
                  "not a finite number");
  require_refused(with_second_row("- lens7.radial_1: [0.0001, 0.000002]"), at + 2,
                  "no term of this rig");
  require_refused(with_second_row("- lens0.focal_px: [0.0001, 0.000002]"), at + 2, "has two rows");
  require_refused(with_second_row("- [0.0001, 0.000002]"), at + 2, "is not one row");
  require_refused(with_second_row("- {lens1.radial_1: [0.0001, 1], lens1.radial_2: [1, 2, 3]}"),
                  at + 2, "is not one row");
  const auto none = parse_template(
      edited(edited(sample_text(), "  - lens0.focal_px: [0.01]\n", ""),
             "covariance:\n  - lens1.radial_1: [0.0001, 0.000002]", "covariance: []"),
      "t.yaml");
  if (!none) FAIL(none.error().line());
  CHECK(none->solution.covariance.empty());
}

TEST_CASE("texts and sources are checked", "[templates]") {
  require_edit_refused("body: \"Lantern 0117\"", "body: \"\"", "is not a line of text");
  require_edit_refused("body: \"Lantern 0117\"", "body: \"two\\nlines\"", "line break");
  require_edit_refused("body: \"Lantern 0117\"", "body: [a]", "is not a line of text");
  require_edit_refused("body: \"Lantern 0117\"", "body: " + std::string(2000, 'x'), "longer than");
  require_edit_refused("sha256: \"0123", "sha256: \"X123", "is not a SHA-256");
  require_edit_refused("sha256: \"0123", "sha256: \"", "is not a SHA-256");
  require_edit_refused("{file: \"hall_front.tif\", ", "{", "the key 'file' is missing");
}

TEST_CASE("what a template says of the body's files is read from version 3 on", "[templates]") {
  const std::string told =
      "layout: stacked\nquarter_turns: [1, -1]\nexif_lenses: [\"a b\", \"c\"]\nmirrored: false";
  const std::string text = edited(sample_text(), "mirrored: false", told);
  const auto read = parse_template(text, "t.yaml");
  if (!read) FAIL(read.error().line());
  CHECK(read->files.layout == FrameLayout::stacked);
  CHECK(read->files.quarter_turns == std::vector<int>{1, -1});
  CHECK(read->files.exif_lenses == std::vector<std::string>{"a b", "c"});
  for (const auto& [from, to, says] :
       std::vector<std::array<std::string, 3>>{{"version: 5", "version: 2", "unknown key 'layout'"},
                                               {"stacked", "piled", "layout"},
                                               {"[1, -1]", "[1]", "1 entries for 2 lenses"},
                                               {"[1, -1]", "[1, 4]", "4 is not a whole number"},
                                               {"\"c\"]", "\"a b\"]", "name of two lenses"}}) {
    CAPTURE(from, to);
    const auto wrong = parse_template(edited(text, from, to), "t.yaml");
    REQUIRE_FALSE(wrong);
    CHECK_THAT(wrong.error().line(), Catch::StartsWith("t.yaml:") && Catch::Contains(says));
  }
}

TEST_CASE("serial numbers are read from version 4 on", "[templates]") {
  const std::string told = "body_serial: \"0117\"\nlens_serials: [\"F1\", \"B1\"]\nmirrored: false";
  const std::string text = edited(sample_text(), "mirrored: false", told);
  const auto read = parse_template(text, "t.yaml");
  if (!read) FAIL(read.error().line());
  CHECK(read->files.body_serial == "0117");
  CHECK(read->files.lens_serials == std::vector<std::string>{"F1", "B1"});
  for (const auto& [from, to, says] : std::vector<std::array<std::string, 3>>{
           {"version: 5", "version: 3", "unknown key 'body_serial'"},
           {"\"0117\"", "[1]", "is not a line of text"},
           {"[\"F1\", \"B1\"]", "[\"F1\"]", "1 entries for 2 lenses"}}) {
    CAPTURE(from, to);
    // The label holds 0117 as well, before the serial.
    const std::string broken = from == "\"0117\""
                                   ? edited(text, "body_serial: " + from, "body_serial: " + to)
                                   : edited(text, from, to);
    const auto wrong = parse_template(broken, "t.yaml");
    REQUIRE_FALSE(wrong);
    CHECK_THAT(wrong.error().line(), Catch::StartsWith("t.yaml:") && Catch::Contains(says));
  }
}

TEST_CASE("other formats and newer versions are refused politely", "[templates]") {
  require_edit_refused("format: seamwright-template", "format: seamwright-shot",
                       "this is not a seamwright-template file");
  require_refused("a: 1\n", 1, "this is not a seamwright-template file");
  require_refused("[1, 2]\n", 1, "this is not a seamwright-template file");
  require_refused("", 1, "the file is empty");
  require_refused("# only a comment\n", 1, "empty");
  require_edit_refused("version: 5", "version: 6",
                       "6 is newer than this program understands (5); a newer version of this "
                       "program wrote it: update the program");
  require_edit_refused("version: 5", "version: 0", "0 is not a whole number");
  require_edit_refused("version: 5", "version: one", "'one' is not a number");
  // A newer file is told by its version, not by the first key that looks wrong.
  const std::string newer = edited(edited(sample_text(), "version: 5", "version: 7"),
                                   "mirrored: false", "spiral: {a: 1}");
  require_refused(newer, line_of(newer, "version"), "7 is newer");
}

TEST_CASE("text of the file never breaks an error into lines", "[templates]") {
  const std::string text =
      edited(sample_text(), "radial_1: 0.001", "\"a\\nb\\u001b[31m\": 1\n    radial_1: 0.001");
  const auto result = parse_template(text, "two\nlines.yaml");
  REQUIRE_FALSE(result);
  CHECK(result.error().line().find('\n') == std::string::npos);
  CHECK(result.error().line().find('\x1b') == std::string::npos);
  CHECK(result.error().line().find("'a?b?[31m'") != std::string::npos);
}
