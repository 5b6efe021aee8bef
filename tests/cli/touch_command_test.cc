#include <filesystem>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "base/file.h"
#include "imaging/write_image.h"
#include "projection/ribbon.h"
#include "templates/rig_template.h"
#include "templates/shot_file.h"
#include "tests/cli/run.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;
using test::check_refused;
using test::get_file;
using test::put_file;
using test::run;
using test::ScratchDir;
using test::SmallShot;

namespace {

// "0:u,v 1:u,v" of a direction at infinity around the ring of the small body, as lenses with that
// turn of lens 1 would show it.
std::string tie_at(const SmallShot& shot, double psi_rad, const Vec3& turn_rad,
                   const std::string& more, double off_px = 0) {
  Rig rig = shot.rig();
  rig.lenses[1].rig_from_lens = quat_from_rotation_vector(turn_rad) * rig.lenses[1].rig_from_lens;
  const RibbonAxes axes = RibbonAxes::of_pair(rig, 0, 1);
  const Vec3 direction = axes.direction({psi_rad, rad_from_deg(90)});
  const Vec2 a = rig.lenses[0].project_direction(direction).value();
  const Vec2 b = rig.lenses[1].project_direction(direction).value();
  const Vec2 from_centre = b - rig.lenses[1].lens.centre_px();
  const Vec2 off = off_px * Vec2(-from_centre.y(), from_centre.x()).normalized();
  return fmt::format("0:{:.4f},{:.4f} 1:{:.4f},{:.4f} {}", a.x(), a.y(), b.x() + off.x(),
                     b.y() + off.y(), more);
}

const Vec3 kSmallTurn_rad = rad_from_deg(0.06) * Vec3(0.3, -0.5, 1);
const Vec3 kKnock_rad = rad_from_deg(1.0) * Vec3(0, 0, 1);

struct Touched {
  ScratchDir scratch;
  SmallShot shot{scratch.path()};

  [[nodiscard]] test::Ran touch(std::vector<std::string> more,
                                const std::string& out = "s.shot.yaml") const {
    std::vector<std::string> arguments = {"touch",      "--template", shot.template_file(),
                                          shot.front(), shot.back(),  "--out",
                                          shot.at(out)};
    arguments.insert(arguments.end(), more.begin(), more.end());
    return run(arguments);
  }
  [[nodiscard]] std::string stitched(const std::string& shot_file, const std::string& out) const {
    const auto ran = run({"stitch", shot.at(shot_file), "--width", "256", "--out", shot.at(out)});
    INFO(ran.err);
    REQUIRE(ran.exit_code == 0);
    return test::pixels_of(shot.at(out));
  }
};

}  // namespace

TEST_CASE("touch without ties writes a shot file that stitches to the same pixels") {
  if (test::program().empty()) return;
  const Touched with;
  const auto ran = with.touch({});
  INFO(ran.err);
  REQUIRE(ran.exit_code == 0);
  CHECK_THAT(ran.err, Catch::Contains("the template stands as it is"));
  REQUIRE(run(with.shot.stitch(with.shot.at("plain.tif"))).exit_code == 0);
  CHECK(with.stitched("s.shot.yaml", "again.tif") == test::pixels_of(with.shot.at("plain.tif")));
}

TEST_CASE("touch moves the rig by what its ties say, and stitch takes it") {
  if (test::program().empty()) return;
  const Touched with;
  std::vector<std::string> more = {"--json"};
  for (int k = 0; k < 4; ++k) {
    more.insert(more.end(), {"--tie", tie_at(with.shot, 1.6 * k - 2, kSmallTurn_rad,
                                             k < 2 ? "far sigma=0.004" : "open sigma=0.004")});
  }
  const auto ran = with.touch(more);
  INFO(ran.err);
  REQUIRE(ran.exit_code == 0);
  const auto answer = ran.json();
  CHECK(answer["ties"].size() == 4);
  CHECK(answer["step"]["lens1.rotation_z_rad"].get<double>() ==
        Approx(kSmallTurn_rad.z()).epsilon(0.1));
  // The tilt is held by the template too: a far tie of so small a frame may be a parallax off.
  const double tilt = answer["step"]["lens1.rotation_y_rad"].get<double>() / kSmallTurn_rad.y();
  CHECK(tilt > 0.3);
  CHECK(tilt < 1.1);
  CHECK(answer["seam"]["expected_after"]["sideways_px"] <
        answer["seam"]["expected_before"]["sideways_px"]);
  CHECK(answer["seam"]["azimuths"].size() >= 12);

  const auto shot = read_shot_file(with.shot.at("s.shot.yaml"));
  REQUIRE(shot);
  CHECK(shot->frames == std::vector<std::filesystem::path>{"front.tif", "back.tif"});
  CHECK(shot->manual_ties.size() == 4);
  REQUIRE(shot->touch);
  // The file holds the very step that the solve made.
  const auto body = read_template(with.shot.template_file());
  REQUIRE(body);
  const auto rig = touched_rig(body->rig(), *shot->touch);
  REQUIRE(rig);
  for (std::size_t i = 0; i < shot->touch->names.size(); ++i) {
    CHECK(shot->touch->step[i] == answer["step"][shot->touch->names[i]].get<double>());
  }
  REQUIRE(run(with.shot.stitch(with.shot.at("plain.tif"))).exit_code == 0);
  CHECK(with.stitched("s.shot.yaml", "touched.tif") != test::pixels_of(with.shot.at("plain.tif")));

  // Ties of the file are kept, new ones join; the file may be written over itself.
  const auto again = run({"touch", with.shot.at("s.shot.yaml"), "--tie",
                          tie_at(with.shot, 3, kSmallTurn_rad, "sigma=0.02"), "--out",
                          with.shot.at("s.shot.yaml"), "--json"});
  INFO(again.err);
  REQUIRE(again.exit_code == 0);
  CHECK(again.json()["ties"].size() == 5);
}

TEST_CASE("touch writes paths relative to the shot file's own folder") {
  if (test::program().empty()) return;
  const Touched with;
  std::filesystem::create_directory(with.scratch / "shots");
  REQUIRE(
      with.touch({"--tie", tie_at(with.shot, 0, kSmallTurn_rad, "sigma=0.02")}, "shots/s.shot.yaml")
          .exit_code == 0);
  const auto shot = read_shot_file(with.shot.at("shots/s.shot.yaml"));
  REQUIRE(shot);
  CHECK(shot->frames[0] == "../front.tif");
  CHECK(shot->rig_template->file == "../T.template.yaml");
  CHECK_FALSE(with.stitched("shots/s.shot.yaml", "p.tif").empty());
}

TEST_CASE("touch finishes with findings: a knock, and a wrong tie by name") {
  if (test::program().empty()) return;
  const Touched with;
  std::vector<std::string> more = {"--json"};
  SECTION("a knock contradicts the template") {
    for (int k = 0; k < 3; ++k) {
      more.insert(more.end(), {"--tie", tie_at(with.shot, 2 * k - 2, kKnock_rad, "sigma=0.1")});
    }
    const auto ran = with.touch(more);
    CHECK(ran.exit_code == 2);
    CHECK(ran.json()["contradicts_template"] == true);
    CHECK_THAT(ran.err, Catch::Contains("finding: the touch contradicts the template"));
  }
  SECTION("a wrong tie") {
    for (int k = 0; k < 5; ++k) {
      more.insert(more.end(),
                  {"--tie", tie_at(with.shot, k - 2, Vec3::Zero(), "sigma=0.1", k == 3 ? 8 : 0)});
    }
    const auto ran = with.touch(more);
    CHECK(ran.exit_code == 2);
    CHECK(ran.json()["ties"][3]["suspect"] == true);
    CHECK_THAT(ran.err, Catch::Contains("finding: tie 4 at "));
    CHECK_THAT(ran.err, Catch::Contains("it was left out of the solve"));
    CHECK(ran.json()["ties"][3]["after"]["sideways_px"].get<double>() == Approx(9).margin(1));
  }
  CHECK(std::filesystem::exists(with.shot.at("s.shot.yaml")));
}

TEST_CASE("touch refuses ties it cannot read, in one line that quotes them") {
  if (test::program().empty()) return;
  const Touched with;
  const auto refused = [&](const std::string& tie, const std::string& needle) {
    CAPTURE(tie);
    check_refused(with.touch({"--tie", tie}), needle);
  };
  refused("0:80,20", "holds 1 sight, a tie needs two");
  refused("", "holds 0 sights");
  refused("0:80,20 1:80", "'1:80' is neither LENS:U,V");
  refused("0:80,20 1:80,x", "'1:80,x'");
  refused("0:80,20 1:80,nan", "'1:80,nan'");
  refused("0:80,20 1:80,20 beyond", "'beyond' is neither");
  refused("0:80,20 1:80,20 sigma=0", "'sigma=0' is no spread");
  refused("0:80,20 0:80,21", "lens 0 sees this tie twice");
  refused("0:80,20 2:80,20", "there is no lens 2; the body has lenses 0 to 1");
  refused("0:80,20 -1:80,20", "there is no lens -1");
  refused("0:80,20 1:2,2", "tie 1: 2, 2 px lies outside the field of view of lens 1");
  CHECK(with.scratch.entry_count() == 4);
}

TEST_CASE("touch refuses shots, templates and outputs it cannot use, and leaves nothing") {
  if (test::program().empty()) return;
  const Touched with;
  const std::string tie = tie_at(with.shot, 0, Vec3::Zero(), "");
  SECTION("missing frame") {
    check_refused(run({"touch", "--template", with.shot.template_file(), with.shot.front(),
                       with.shot.at("no.tif"), "--out", with.shot.at("s.shot.yaml")}),
                  "no.tif");
  }
  SECTION("no template") {
    check_refused(
        run({"touch", with.shot.front(), with.shot.back(), "--out", with.shot.at("s.shot.yaml")}),
        "--template");
  }
  SECTION("a name that is no shot file's") {
    check_refused(with.touch({}, "s.yaml"), "ends in .shot.yaml");
  }
  SECTION("a folder that is not there") {
    check_refused(with.touch({"--tie", tie}, "no/s.shot.yaml"), "folder");
  }
  SECTION("another frame shape") {
    for (const auto& [name, code] : {std::pair{"front.tif", 1000}, std::pair{"back.tif", 2000}}) {
      Image wide(320, 160, Channels::rgb, SampleType::u16);
      for (auto& sample : wide.row<std::uint16_t>(80)) sample = static_cast<std::uint16_t>(code);
      REQUIRE(write_image(with.shot.at(name), wide));
    }
    check_refused(with.touch({"--tie", tie}), "160 x 160");
  }
  SECTION("--auto where nothing fits together") {
    REQUIRE(write_image(with.shot.back(), Image(160, 160, Channels::rgb, SampleType::u16)));
    check_refused(with.touch({"--auto"}), "do not fit together");
  }
  CHECK(with.scratch.entry_count() == 4);
}

TEST_CASE("a touch goes with the very template it was made for") {
  if (test::program().empty()) return;
  const Touched with;
  REQUIRE(with.touch({"--tie", tie_at(with.shot, 0, kSmallTurn_rad, "sigma=0.02")}).exit_code == 0);
  const std::string yaml = get_file(with.shot.template_file());
  const std::string other = with.shot.at("other.template.yaml");
  put_file(other, yaml + "# another body's\n");
  check_refused(run({"stitch", "--template", other, with.shot.at("s.shot.yaml"), "--width", "256",
                     "--out", with.shot.at("p.tif")}),
                "is not the template that");
  // Touching again with the new template is the remedy.
  CHECK(run({"touch", "--template", other, with.shot.at("s.shot.yaml"), "--out",
             with.shot.at("s.shot.yaml")})
            .exit_code == 0);
  CHECK_FALSE(with.stitched("s.shot.yaml", "p.tif").empty());
}
