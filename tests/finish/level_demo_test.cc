#include <catch2/catch.hpp>

#include "apps/demo/demo.h"
#include "compose/finish/level.h"
#include "tests/support/scratch_dir.h"

namespace seamwright {
namespace {

// Frames of 800 px: a tenth of a degree is a third of their pixel.
TEST_CASE("rooms photographed from leaning stands are set upright to 0.1 degrees",
          "[finish][level]") {
  const test::ScratchDir dir;
  DemoOptions options;
  options.frame_px = 800;
  options.with_truth = false;
  options.only_shots = {"library_4", "room3_1"};
  options.tilt_pitch_deg = 3.2;
  options.tilt_roll_deg = -3.5;
  options.light_cell_m = 1;
  REQUIRE(write_demo(dir.path(), options));
  const auto body = demo_body(options.seed, options.frame_px, options.body);
  REQUIRE(body);

  int cases = 0;
  for (DemoShot shot : demo_shots()) {
    if (shot.name != "library_4" && shot.name != "room3_1") continue;
    shot.pitch_deg += options.tilt_pitch_deg;
    shot.roll_deg += options.tilt_roll_deg;
    const Vec3 down = shot.world_from_rig().conjugate() * Vec3::UnitY();
    const auto frames = read_shot(
        {dir / ("frames/" + shot.name + "_front.tif"), dir / ("frames/" + shot.name + "_back.tif")},
        {});
    REQUIRE(frames);
    const auto found = find_vertical(*body, *frames);
    REQUIRE(found);
    const double error_deg = deg_from_rad(angle_between(found->down, down));
    CAPTURE(shot.name, error_deg, found->sigma_deg, found->edges);
    CHECK(found->tilt_deg() > 4.5);
    CHECK(error_deg <= 0.1);
    CHECK(error_deg < 4 * found->sigma_deg);
    ++cases;
  }
  CHECK(cases == 2);
}

}  // namespace
}  // namespace seamwright
