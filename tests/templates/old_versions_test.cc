// Files from before keys had the names they have now.

#include <catch2/catch.hpp>

#include "templates/rig_template.h"
#include "templates/shot_file.h"
#include "tests/templates/sample.h"

using namespace seamwright;
using namespace seamwright::test;

namespace {

/// As a program wrote it that knew version 1 only.
const std::string kOldTemplate = [] {
  const std::string lens = R"(  - curve: equidistant
    focal_px: 560.5
    centre_u_px: 1001
    centre_v_px: 999
    k1: 0.001
    k2: -0.002
    k3: 0.003
    k4: -0.0004
    b1: 0.0005
    b2: -0.0006
    p1: 0.0007
    p2: -0.0008
    theta_max_deg: 100
    rotation_deg: [0, TURN, 0]
    pupil_m: [0, 0, 0.0135]
    pupil_travel_m: 0
    fringe_red: {a0: 0, a1: 0, a2: 0}
    fringe_blue: {a0: 0, a1: 0, a2: 0}
    vignetting: {v1: -0.1, v2: 0, v3: 0}
)";
  return R"(format: seamwright-template
version: 1
body: "Lantern 0117"
mirrored: false
frame_size_px: [2000, 2000]
lenses:
)" + edited(lens, "TURN", "0") +
         edited(lens, "TURN", "180") + R"(covariance:
  - lens0.focal_px: [0.01]
  - lens0.k4: [0, 0.000001]
  - lens1.b2: [0, 0, 0.000001]
  - lens1.p1: [0, 0, 0, 0.000001]
  - lens1.rotation_x_rad: [0, 0, 0, 0, 0.000001]
quality:
  shots: 6
  ties: 400
  ties_rejected: 12
  rms_px: 0.3
  max_px: 0.9
  inlier_share: 0.97
  residual_spread: 1.01
  expected_seam_along_px: 0.4
  expected_seam_across_px: 0.1
  flex_sigma_deg: 0.01
learned_from: []
)";
}();

const std::string kOldShot = R"(format: seamwright-shot
version: 5
frames: ["front.tif", "back.tif"]
layout: one-per-file
lens_count: 2
quarter_turns: []
mirrored: false
template: {file: "t.yaml", sha256: "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"}
touch:
  terms:
    lens0.focal_px: 0.125
    lens0.k2: 0.0001
    lens1.b1: 0.0002
    lens1.p2: 0.0003
    lens1.rotation_x_deg: -0.25
)";

template <class Read>
void require_old_refused(Read read, const std::string& text, int line, const std::string& says) {
  const auto result = read(text, "old.yaml");
  INFO(text);
  REQUIRE_FALSE(result);
  CHECK_THAT(result.error().line(),
             Catch::StartsWith(fmt::format("old.yaml:{}: ", line)) && Catch::Contains(says));
}

}  // namespace

TEST_CASE("a template of version 1 still reads, and is written with today's names", "[templates]") {
  const auto old = parse_template(kOldTemplate, "old.yaml");
  if (!old) FAIL(old.error().line());
  for (const MountedLens& mounted : old->rig().lenses) {
    CHECK(mounted.lens.terms == std::array<double, kLensTermCount>{560.5, 1001, 999, 0.001, -0.002,
                                                                   0.003, -0.0004, 0.0005, -0.0006,
                                                                   0.0007, -0.0008});
  }
  CHECK(old->solution.covariance.names ==
        std::vector<std::string>{"lens0.focal_px", "lens0.radial_4", "lens1.shear",
                                 "lens1.decentre_u", "lens1.rotation_x_rad"});

  const std::string text = format_template(*old);
  CHECK_THAT(text, Catch::Contains("\nversion: 5\n") && Catch::Contains("radial_4: -0.0004\n") &&
                       Catch::Contains("shear: -0.0006\n") &&
                       Catch::Contains("decentre_v: -0.0008\n") &&
                       Catch::Contains("- lens1.decentre_u: ["));
  for (const char* gone :
       {"k1:", "k2:", "k3:", "k4:", "b1:", "b2:", "p1:", "p2:", "along_px", "across_px"}) {
    CAPTURE(gone);
    CHECK_THAT(text, !Catch::Contains(gone));
  }
  const auto again = parse_template(text, "new.yaml");
  if (!again) FAIL(again.error().line());
  CHECK(again->rig().lenses[1].lens == old->rig().lenses[1].lens);
  CHECK(again->solution.covariance.names == old->solution.covariance.names);
  CHECK(again->solution.covariance.values == old->solution.covariance.values);
}

TEST_CASE("templates of versions 2 to 4 still read, and are written as version 5", "[templates]") {
  Random random;
  const std::string text = format_template(random_template(random));
  const auto today = parse_template(text, "today.yaml");
  if (!today) FAIL(today.error().line());
  int versions = 0;
  for (const int version : {2, 3, 4}) {
    CAPTURE(version);
    const std::string old =
        edited(edited(edited(text, "version: 5", fmt::format("version: {}", version)),
                      "expected_seam_parallax_px", "expected_seam_along_px"),
               "expected_seam_sideways_px", "expected_seam_across_px");
    const auto read = parse_template(old, "old.yaml");
    if (!read) FAIL(read.error().line());
    CHECK(format_template(*read) == format_template(*today));
    require_old_refused(
        &parse_template, edited(text, "version: 5", fmt::format("version: {}", version)),
        line_of(text, "expected_seam_parallax_px"), "unknown key 'expected_seam_parallax_px'");
    ++versions;
  }
  CHECK(versions == 3);
}

TEST_CASE("each version of a template has its own names, and errors say them", "[templates]") {
  const auto refused = [](const std::string& from, const std::string& to, const std::string& at,
                          const std::string& says) {
    const std::string text = edited(kOldTemplate, from, to);
    require_old_refused(&parse_template, text, line_of(text, at), says);
  };
  refused("k3: 0.003", "radial_3: 0.003", "radial_3", "unknown key 'radial_3'");
  refused("    k3: 0.003\n", "", "  - curve", "the key 'k3' is missing");
  refused("b1: 0.0005", "b1: -2", "b1: -2", "is no lens");
  refused("p1: 0.0007", "p1: 0.7", "p1: 0.7", "is no lens");
  refused("lens1.b2", "lens1.shear", "lens1.shear", "no term of this rig");
  refused("version: 1", "version: 2", "k1: 0.001", "unknown key 'k1'");
  refused("expected_seam_along_px", "expected_seam_parallax_px", "expected_seam_parallax_px",
          "unknown key 'expected_seam_parallax_px'");
  refused("expected_seam_across_px: 0.1", "expected_seam_across_px: -1", "expected_seam_across_px",
          "expected_seam_across_px");
}

TEST_CASE("a touch with the names of version 5 still reads, and is written with today's",
          "[templates]") {
  int versions = 0;
  for (const int version : {2, 3, 4, 5}) {
    CAPTURE(version);
    const auto old = parse_shot_file(
        edited(kOldShot, "version: 5", fmt::format("version: {}", version)), "old.yaml");
    if (!old) FAIL(old.error().line());
    REQUIRE(old->touch);
    CHECK(old->touch->names == std::vector<std::string>{"lens0.focal_px", "lens0.radial_2",
                                                        "lens1.aspect", "lens1.decentre_v",
                                                        "lens1.rotation_x_rad"});
    CHECK(old->touch->step ==
          std::vector<double>{0.125, 0.0001, 0.0002, 0.0003, rad_from_deg(-0.25)});
    const std::string text = format_shot_file(*old);
    CHECK_THAT(text, Catch::Contains("\nversion: 6\n") &&
                         Catch::Contains("    lens1.decentre_v: 0.0003\n") &&
                         !Catch::Contains("lens0.k2") && !Catch::Contains("lens1.p2"));
    const auto again = parse_shot_file(text, "new.yaml");
    if (!again) FAIL(again.error().line());
    CHECK(again->touch == old->touch);
    ++versions;
  }
  CHECK(versions == 4);

  const std::string late = edited(kOldShot, "lens0.k2", "lens0.radial_2");
  require_old_refused(&parse_shot_file, late, line_of(late, "lens0.radial_2"), "unknown key");
  const std::string early = edited(kOldShot, "version: 5", "version: 6");
  require_old_refused(&parse_shot_file, early, line_of(early, "lens0.k2"), "unknown key");
}
