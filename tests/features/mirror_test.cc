#include "features/mirror.h"

#include <catch2/catch.hpp>

#include "imaging/orient.h"
#include "tests/features/synthetic_shot.h"
#include "tests/support/matchers.h"
#include "tests/support/random.h"

namespace seamwright::test {

namespace {

std::vector<Image> flipped(const std::vector<Image>& frames) {
  std::vector<Image> turned;
  for (const Image& frame : frames) turned.push_back(mirror_left_right(frame));
  return turned;
}

RigOptions small() {
  RigOptions options;
  options.width_px = options.height_px = 500;
  options.centre_spread_px = 0;
  return options;
}

TieOptions quick() {
  TieOptions options;
  options.max_ties_per_pair = 150;
  options.edge_ties = false;
  return options;
}

}  // namespace

TEST_CASE("a reflected rig sees the mirrored world in flipped frames", "[mirror]") {
  CAPTURE(seed());
  Random random(1);
  RigOptions options;
  options.lens_count = 4;
  options.pupil_travel_m = 0.002;
  const Rig rig = random_rig(random, options);
  const Rig reflected = mirrored(rig);
  int checked = 0;
  for (std::size_t lens = 0; lens < rig.lenses.size(); ++lens) {
    for (int i = 0; i < 100; ++i) {
      const Vec3 d = random_direction(random);
      const double inverse = random.uniform(0, 3);
      const auto px = rig.lenses[lens].project_point(d, inverse);
      const Vec3 mirrored_d(-d.x(), d.y(), d.z());
      const auto other = reflected.lenses[lens].project_point(mirrored_d, inverse);
      REQUIRE(px.has_value() == other.has_value());
      if (!px) continue;
      CHECK_THAT(*other, near_pixel(Vec2(options.width_px - px->x(), px->y()), 1e-9));
      ++checked;
    }
  }
  CHECK(checked > 150);
}

TEST_CASE("mirrored frames of a ring of lenses are recognised", "[mirror][long]") {
  RigOptions options = small();
  options.lens_count = 3;
  options.width_px = options.height_px = 300;
  const SyntheticShot shot = photograph_all(random_rig(2, options), {.grain_m = 0.1});
  const auto as_is = recognise_mirroring(shot.frames, shot.rig, quick());
  REQUIRE(as_is);
  CHECK(as_is->verdict == MirrorVerdict::as_is);
  const auto turned = recognise_mirroring(flipped(shot.frames), shot.rig, quick());
  REQUIRE(turned);
  CAPTURE(turned->as_is.ties, turned->flipped.ties);
  CHECK(turned->verdict == MirrorVerdict::mirrored);
  CHECK(turned->flipped.ties > 3 * turned->as_is.ties);
}

TEST_CASE("two lenses back to back: only the body's own errors can tell", "[mirror]") {
  RigOptions options = small();
  SECTION("a nominal rig is its own reflection: nobody can tell") {
    const Rig rig = nominal_rig(options);
    const SyntheticShot shot = photograph_all(rig, {.grain_m = 0.06});
    const auto report = recognise_mirroring(flipped(shot.frames), rig, quick());
    REQUIRE(report);
    CHECK(report->asymmetry_px < 1e-6);
    CHECK(report->verdict == MirrorVerdict::undecided);
    CHECK(report->as_is.ties > 60);
    CHECK(report->flipped.ties > 60);
  }
  SECTION("a learned rig differs from its reflection") {
    options.mount_spread_rad = rad_from_deg(0.4);
    options.centre_spread_px = 2;
    const SyntheticShot shot = photograph_all(random_rig(6, options), {.grain_m = 0.06});
    const auto as_is = recognise_mirroring(shot.frames, shot.rig, quick());
    const auto turned = recognise_mirroring(flipped(shot.frames), shot.rig, quick());
    REQUIRE((as_is && turned));
    CAPTURE(as_is->asymmetry_px, as_is->as_is.sideways_rms_px, as_is->flipped.sideways_rms_px);
    CHECK(as_is->asymmetry_px > 0.5);
    CHECK(as_is->verdict == MirrorVerdict::as_is);
    CHECK(turned->verdict == MirrorVerdict::mirrored);
  }
}

}  // namespace seamwright::test
