#include <sstream>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "tests/cli/run.h"
#include "tests/support/matchers.h"
#include "tests/support/random.h"
#include "tests/support/scratch_dir.h"

using namespace seamwright;
using test::check_refused;
using test::run;
using test::ScratchDir;
using test::SmallShot;

TEST_CASE("inspect shows a template to people and to programs") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  const auto plain = run({"inspect", shot.template_file()});
  CHECK(plain.exit_code == 0);
  CHECK_THAT(plain.out, Catch::Contains("Lantern 0001"));
  CHECK_THAT(plain.out, Catch::Contains("160 x 160 px"));
  CHECK_THAT(plain.out, Catch::Contains("focal_px"));
  const auto answer = run({"inspect", shot.template_file(), "--json"}).json();
  CHECK(answer["lenses"].size() == 2);
  CHECK(answer["lenses"][1]["terms"]["focal_px"] ==
        Approx(shot.rig().lenses[1].lens.terms[kFocal]).epsilon(1e-15));
}

TEST_CASE("inspect --unproject and --project agree with the library to 1e-9") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  test::Random random(72);
  std::string pixels;
  std::vector<std::pair<int, Vec2>> sent;
  for (int i = 0; i < 200; ++i) {
    const int lens = random.integer(0, 1);
    const Vec2 px(random.uniform(35, 125), random.uniform(35, 125));
    sent.emplace_back(lens, px);
    pixels += fmt::format("{} {} {}\n", lens, px.x(), px.y());
  }
  const auto directions = run({"inspect", shot.template_file(), "--unproject"}, pixels);
  REQUIRE(directions.exit_code == 0);
  CHECK(directions.err.empty());

  std::istringstream lines(directions.out);
  std::string back_input;
  for (const auto& [lens, px] : sent) {
    int printed_lens = -1;
    Vec2 printed_px;
    Vec3 d;
    lines >> printed_lens >> printed_px.x() >> printed_px.y() >> d.x() >> d.y() >> d.z();
    REQUIRE(lines);
    CHECK(printed_lens == lens);
    CHECK(printed_px == px);
    const auto expected = shot.rig().lenses[static_cast<std::size_t>(lens)].direction_in_rig(px);
    REQUIRE(expected);
    CHECK((d - *expected).norm() < 1e-11);
    back_input += fmt::format("{} {:.12f} {:.12f} {:.12f}\n", lens, d.x(), d.y(), d.z());
  }
  const auto back = run({"inspect", shot.template_file(), "--project"}, back_input);
  REQUIRE(back.exit_code == 0);
  std::istringstream back_lines(back.out);
  for (const auto& [lens, px] : sent) {
    int printed_lens = -1;
    Vec3 d;
    Vec2 printed_px;
    back_lines >> printed_lens >> d.x() >> d.y() >> d.z() >> printed_px.x() >> printed_px.y();
    REQUIRE(back_lines);
    CHECK_THAT(printed_px, test::near_pixel(px, 1e-8));
  }
}

TEST_CASE("inspect prints at least nine decimals, and nan outside the field of view") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  const auto ran =
      run({"inspect", shot.template_file(), "--unproject"}, "0 80 80\n\n  1\t0.5 0.5 \r\n");
  CHECK(ran.exit_code == 0);
  CHECK_THAT(ran.out,
             Catch::Matches("0 80 80( -?[0-9]\\.[0-9]{9,}){3}\n1 0\\.5 0\\.5 nan nan nan\n"));
  CHECK_THAT(ran.err, Catch::Contains("1 points"));
  const auto projected = run({"inspect", shot.template_file(), "--project", "--json"},
                             "0 0 0 2\n0 0 0 -1\n1 1e300 0 0");
  REQUIRE(projected.exit_code == 0);
  const auto answer = projected.json();
  REQUIRE(answer["points"].size() == 3);
  CHECK(answer["points"][0]["u"] ==
        Approx(shot.rig().lenses[0].lens.terms[kCentreU]).epsilon(1e-12));
  CHECK(answer["points"][1]["u"].is_null());
  CHECK(answer["points"][2]["u"].is_number());
  CHECK(answer["outside"] == 1);
}

TEST_CASE("inspect names the line that does not parse") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  const auto refused = [&](const std::string& mode, const std::string& input,
                           const std::string& needle) {
    auto ran = run({"inspect", shot.template_file(), mode}, input);
    ran.out.clear();  // lines before the bad one were answered
    check_refused(ran, needle);
  };
  refused("--unproject", "0 1 2\n0 1\n", "stdin:2");
  refused("--unproject", "0 1 2 3\n", "stdin:1");
  refused("--unproject", "\n\n0 one 2\n", "stdin:3");
  refused("--unproject", "2 1 2\n", "lens 2");
  refused("--unproject", "-1 1 2\n", "lens -1");
  refused("--unproject", "0.5 1 2\n", "lens number");
  refused("--unproject", "0 nan 2\n", "finite");
  refused("--unproject", "0 inf 2\n", "finite");
  refused("--project", "0 0 0 0\n", "no length");
  refused("--project", "0 0 1\n", "lens x y z");
}

TEST_CASE("inspect of frames tells size, depth, exposure and circle") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  const auto plain = run({"inspect", shot.front(), shot.back()});
  CHECK(plain.exit_code == 0);
  CHECK_THAT(plain.out, Catch::Contains("160 x 160 px"));
  CHECK_THAT(plain.out, Catch::Contains("16 bits"));
  CHECK_THAT(plain.out, Catch::Contains("1/30 s, f/4, ISO 200"));
  CHECK_THAT(plain.out, Catch::Contains("circle"));
  const auto answer = run({"inspect", shot.front(), "--json"}).json();
  REQUIRE(answer["frames"].size() == 1);
  CHECK(answer["frames"][0]["iso"] == 200.0);
  const Lens& lens = shot.rig().lenses[0].lens;
  REQUIRE(answer["frames"][0]["circle"].is_object());
  CHECK(answer["frames"][0]["circle"]["radius_px"] == Approx(lens.rim_radius_px()).epsilon(0.02));
}

TEST_CASE("inspect refuses what it cannot show") {
  if (test::program().empty()) return;
  const ScratchDir scratch;
  const SmallShot shot(scratch.path());
  check_refused(run({"inspect", shot.at("nothing.tif")}), "nothing.tif");
  check_refused(run({"inspect", shot.at("nothing.template.yaml")}), "nothing.template.yaml");
  check_refused(run({"inspect", shot.front(), "--unproject"}), "template");
  check_refused(run({"inspect", shot.template_file(), shot.front()}), "one template");
}
