#include <catch2/catch.hpp>

#include "templates/rig_template.h"
#include "tests/support/matchers.h"
#include "tests/templates/sample.h"

using namespace seamwright;
using namespace seamwright::test;

TEST_CASE("starters are valid for any frame", "[templates]") {
  const auto names = starter_names();
  CHECK(names == std::vector<std::string>{"two-back-to-back", "four-ring", "six-ring"});
  int checked = 0;
  for (const std::string& name : names) {
    for (const auto& [width, height] :
         {std::pair{2000, 2000}, {3840, 2160}, {1080, 1920}, {101, 100}, {20000, 20000}, {1, 1}}) {
      CAPTURE(name, width, height);
      const auto starter = starter_template(name, width, height);
      if (!starter) FAIL(starter.error().line());
      CHECK_FALSE(starter->rig().validate());
      CHECK_FALSE(starter->mirrored);
      CHECK(starter->rig().metric);
      CHECK(starter->solution.covariance.empty());
      for (const MountedLens& mounted : starter->rig().lenses) {
        const Lens& lens = mounted.lens;
        CHECK(lens.width_px == width);
        CHECK(lens.height_px == height);
        CHECK(lens.centre_px() == Vec2(width / 2.0, height / 2.0));
        CHECK(lens.rim_radius_px() == Approx(std::min(width, height) / 2.0).epsilon(1e-12));
      }
      const auto again = parse_template(format_template(*starter), "again.yaml");
      if (!again) FAIL(again.error().line());
      ++checked;
    }
  }
  CHECK(checked == 18);
}

TEST_CASE("two lenses back to back look opposite ways, 27 mm apart", "[templates]") {
  const auto starter = starter_template("two-back-to-back", 2000, 2000);
  REQUIRE(starter);
  const Rig& rig = starter->rig();
  REQUIRE(rig.lens_count() == 2);
  CHECK_THAT(Vec3(rig.lenses[1].rig_from_lens * Vec3::UnitZ()),
             same_direction(-Vec3::UnitZ(), 1e-15));
  // Both stand upright: down is down in either lens.
  CHECK_THAT(Vec3(rig.lenses[1].rig_from_lens * Vec3::UnitY()),
             same_direction(Vec3::UnitY(), 1e-15));
  CHECK((rig.baseline(0, 1) - Vec3(0, 0, 0.027)).norm() < 1e-15);
  CHECK(deg_from_rad(2 * rig.lenses[0].lens.theta_max_rad) == Approx(200).epsilon(1e-14));
}

TEST_CASE("rings turn to the right in equal steps with their pupils ahead", "[templates]") {
  for (const auto& [name, count, field_deg] :
       {std::tuple{"four-ring", 4, 200.0}, {"six-ring", 6, 190.0}}) {
    CAPTURE(name);
    const auto starter = starter_template(name, 1500, 1500);
    REQUIRE(starter);
    const Rig& rig = starter->rig();
    REQUIRE(rig.lens_count() == count);
    const double radius_m = rig.lenses[0].pupil.norm();
    CHECK(radius_m > 0);
    for (int i = 0; i < count; ++i) {
      const MountedLens& mounted = rig.lenses[static_cast<std::size_t>(i)];
      const double yaw_rad = 2 * kPi * i / count;
      const Vec3 ahead(std::sin(yaw_rad), 0, std::cos(yaw_rad));
      CHECK_THAT(Vec3(mounted.rig_from_lens * Vec3::UnitZ()), same_direction(ahead, 1e-14));
      CHECK_THAT(Vec3(mounted.rig_from_lens * Vec3::UnitY()), same_direction(Vec3::UnitY(), 1e-15));
      CHECK((mounted.pupil - radius_m * ahead).norm() < 1e-6);
      CHECK(deg_from_rad(2 * mounted.lens.theta_max_rad) == Approx(field_deg).epsilon(1e-14));
    }
  }
}

TEST_CASE("unknown starters and frame sizes are refused", "[templates]") {
  const auto unknown = starter_template("five-ring", 2000, 2000);
  REQUIRE_FALSE(unknown);
  CHECK(unknown.error().line() ==
        "starter: 'five-ring' is not known; choose one of two-back-to-back, four-ring, six-ring");
  for (const auto& [width, height] : {std::pair{0, 100}, {100, -1}, {2'000'000, 100}}) {
    const auto refused = starter_template("four-ring", width, height);
    REQUIRE_FALSE(refused);
    CHECK(refused.error().line().find("is not a frame size") != std::string::npos);
  }
}
