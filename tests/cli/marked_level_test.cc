// A leaning stand of the demo whose shot file marks upright edges, from stitch to check.

#include <cmath>
#include <filesystem>
#include <fstream>

#include <catch2/catch.hpp>

#include "tests/cli/run.h"
#include "tests/support/random.h"
#include "tests/support/scratch_dir.h"
#include "tests/support/upright_edges.h"

using namespace seamwright;
using test::run;

namespace {

/// library_4, leaning by about 5 degrees.
struct LeaningRoom {
  test::ScratchDir dir;
  std::string shot_file;
  Vec3 down;  ///< in the rig

  LeaningRoom() : shot_file((dir / "room.shot.yaml").string()) {
    const auto made =
        run({"demo", dir.path().string(), "--frame", "700", "--no-panoramas", "--shots",
             "library_4", "--tilt-pitch-deg", "3.2", "--tilt-roll-deg", "-3.5"});
    REQUIRE(made.exit_code == 0);
    const auto pose =
        nlohmann::json::parse(test::get_file((dir / "truth" / "poses.json").string()))["shots"][0];
    const auto q = pose["world_from_rig_quaternion_wxyz"].get<std::vector<double>>();
    down = Quat(q[0], q[1], q[2], q[3]).conjugate() * Vec3::UnitY();
    REQUIRE(angle_between(down, Vec3::UnitY()) > rad_from_deg(4.5));
  }

  void mark(const std::vector<UprightEdge>& edges) const {
    ShotFile shot;
    shot.frames = {"frames/library_4_front.tif", "frames/library_4_back.tif"};
    shot.rig_template = TemplateReference{"truth/body.template.yaml", {}};
    shot.verticals = edges;
    const auto written = write_shot_file(shot_file, shot);
    if (!written) FAIL(written.error().line());
  }

  [[nodiscard]] nlohmann::json stitch(const std::string& name,
                                      const std::vector<std::string>& more = {}) const {
    std::vector<std::string> arguments = {"stitch", shot_file, "--out", at(name), "--width",
                                          "1400",   "--seam",  "plain", "--json"};
    arguments.insert(arguments.end(), more.begin(), more.end());
    const auto ran = run(arguments);
    INFO(ran.err);
    REQUIRE((ran.exit_code == 0 || ran.exit_code == 2));
    return ran.json();
  }
  /// How far a panorama leans, as its own upright edges tell: found in its pixels.
  [[nodiscard]] double lean_deg(const std::string& name) const {
    const auto ran = run({"finish", at(name), "--level", "--out", at("again.tif"), "--json"});
    INFO(ran.err);
    REQUIRE((ran.exit_code == 0 || ran.exit_code == 2));
    return ran.json()["level"]["tilt_deg"];
  }
  [[nodiscard]] nlohmann::json check() const {
    const auto ran = run({"check", shot_file, "--json"});
    INFO(ran.err);
    REQUIRE((ran.exit_code == 0 || ran.exit_code == 2));
    return ran.json()["shots"][0];
  }
  [[nodiscard]] std::string at(const std::string& name) const { return (dir / name).string(); }
};

bool is_tilted(const nlohmann::json& shot) {
  for (const auto& finding : shot.at("findings")) {
    if (finding.at("kind") == "tilted") return true;
  }
  return false;
}

// As a hand marks them: off by 0.03 degrees each way.
std::vector<UprightEdge> by_hand(std::vector<UprightEdge> edges) {
  test::Random random(61);
  for (UprightEdge& edge : edges) {
    for (PanoramaPlace& end : edge.ends) {
      end.longitude_rad += rad_from_deg(random.normal(0.03));
      end.latitude_rad += rad_from_deg(random.normal(0.03));
    }
  }
  return edges;
}

}  // namespace

TEST_CASE("a shot whose file marks upright edges is stitched upright, and is not called tilted") {
  if (test::program().empty()) return;
  CAPTURE(test::seed());
  const LeaningRoom room;
  room.mark({});
  CHECK_FALSE(room.stitch("as-it-stood.tif").contains("level"));
  CHECK(room.lean_deg("as-it-stood.tif") > 4.5);
  CHECK(is_tilted(room.check()));

  room.mark(by_hand(test::upright_edges(room.down, {20, 110})));
  const auto level = room.stitch("upright.tif")["level"];
  CHECK(level["by"] == "marked");
  CHECK(level["edges"] == 2);
  const auto turned_down = level["down"].get<std::vector<double>>();
  const double error_deg =
      deg_from_rad(angle_between(Vec3(turned_down[0], turned_down[1], turned_down[2]), room.down));
  const double lean_deg = room.lean_deg("upright.tif");
  CAPTURE(error_deg, lean_deg);
  CHECK(error_deg < 0.15);
  CHECK(lean_deg < 0.2);
  const auto checked = room.check();
  CHECK_FALSE(is_tilted(checked));

  // What the command line says comes first; an asked-for level takes the marked edges.
  CHECK(room.stitch("asked.tif", {"--level"})["level"]["by"] == "marked");
  CHECK(test::pixels_of(room.at("asked.tif")) == test::pixels_of(room.at("upright.tif")));
  CHECK_FALSE(room.stitch("left.tif", {"--no-level"}).contains("level"));
  CHECK(test::pixels_of(room.at("left.tif")) == test::pixels_of(room.at("as-it-stood.tif")));
  const auto given = room.stitch("given.tif", {"--vertical", "0:350,250 0:350,450"})["level"];
  CHECK(given["by"] == "given");
  CHECK(given["edges"] == 1);
  test::check_refused(
      run({"stitch", room.shot_file, "--out", room.at("x.tif"), "--level", "--no-level"}),
      "--no-level");

  // restitch takes them as stitch does.
  const auto restitched = [&](std::vector<std::string> more) {
    std::vector<std::string> arguments = {
        "restitch", room.shot_file, "--out",  room.at("all"),    "--width", "1400",
        "--seam",   "plain",        "--page", room.at("p.html"), "--json"};
    arguments.insert(arguments.end(), more.begin(), more.end());
    const auto ran = run(arguments);
    INFO(ran.err);
    REQUIRE((ran.exit_code == 0 || ran.exit_code == 2));
    return is_tilted(ran.json()["checked"][0]);
  };
  CHECK_FALSE(restitched({}));
  CHECK(test::pixels_of(room.at("all/room.tif")) == test::pixels_of(room.at("upright.tif")));
  CHECK(restitched({"--no-level"}));
  CHECK(test::pixels_of(room.at("all/room.tif")) == test::pixels_of(room.at("as-it-stood.tif")));
}

TEST_CASE("edges that cannot be upright are refused by stitch and check, with the shot's name") {
  if (test::program().empty()) return;
  const test::ScratchDir dir;
  const test::SmallShot shot(dir.path());
  shot.write_shot("s.shot.yaml", TemplateReference{"T.template.yaml", {}});
  auto read = read_shot_file(shot.at("s.shot.yaml"));
  REQUIRE(read);
  read->verticals = {
      {{{{rad_from_deg(-30), rad_from_deg(-40)}, {rad_from_deg(30), rad_from_deg(-40)}}}},
      {{{{rad_from_deg(60), rad_from_deg(-40)}, {rad_from_deg(120), rad_from_deg(-40)}}}}};
  REQUIRE(write_shot_file(shot.at("s.shot.yaml"), *read));
  const auto ran = run({"stitch", shot.at("s.shot.yaml"), "--out", shot.at("p.tif")});
  test::check_refused(ran, "verticals");
  CHECK_THAT(ran.err, Catch::Contains("s.shot.yaml") && Catch::Contains("would tilt"));
  CHECK_FALSE(std::filesystem::exists(shot.at("p.tif")));
}
