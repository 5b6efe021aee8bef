// The ruler of every misalignment that docs and tests quote, held against cases that a pencil
// solves.

#include "solver/seam_error.h"

#include <cmath>

#include <catch2/catch.hpp>

#include "tests/support/rigs.h"

namespace seamwright {
namespace {

constexpr double kFocal_px = 300;
constexpr double kSmall_rad = 1e-3;

// Two equidistant lenses back to back along z, 300 px/rad on the axis, that see to 100 degrees.
// Pixels are counted where the lenses resolve most: from 90 degrees on around the circle, where a
// turn of one radian covers the radius, 300 px × 100 π / 180 = 523.599 px at the rim.
Rig plain_body() {
  Rig rig = test::nominal_rig();
  for (MountedLens& mounted : rig.lenses) mounted.lens.terms[kFocal] = kFocal_px;
  return rig;
}

void turn(MountedLens& mounted, const Vec3& axis) {
  mounted.rig_from_lens = Quat(Eigen::AngleAxisd(kSmall_rad, axis)) * mounted.rig_from_lens;
}

// On the middle of the ring, every 5 degrees.
std::vector<RibbonAngles> middle_of_ring() {
  std::vector<RibbonAngles> all;
  for (int i = 0; i < 72; ++i) all.push_back({rad_from_deg(5.0 * i), rad_from_deg(90)});
  return all;
}

TEST_CASE("the same rig is not misaligned, and a turn of the whole rig is none") {
  const Rig truth = plain_body();
  Rig turned = truth;
  for (MountedLens& mounted : turned.lenses) turn(mounted, Vec3(1, 2, -1).normalized());
  for (const Rig& estimated : {truth, turned}) {
    const auto samples = seam_misalignment(estimated, truth, 0, 1);
    REQUIRE(samples.size() == 72 * 5);
    const auto summary = summarise(samples);
    REQUIRE(summary);
    CHECK(summary->max_px < 1e-6);
  }
}

TEST_CASE("a roll about the pole misaligns sideways only: by its angle times sin eta") {
  const Rig truth = plain_body();
  Rig estimated = truth;
  turn(estimated.lenses[1], Vec3::UnitZ());
  // 523.599 px × 0.001 × sin 90 = 0.523599 px; × sin 85 = 0.521606 px.
  for (const auto& [eta_deg, due_px] : {std::pair{90.0, 0.523599}, {85.0, 0.521606}}) {
    const auto samples =
        seam_misalignment(estimated, truth, 0, 1, {{rad_from_deg(40), rad_from_deg(eta_deg)}});
    REQUIRE(samples.size() == 1);
    CHECK(std::abs(samples[0].sideways_px) == Approx(due_px).epsilon(1e-5));
    CHECK(std::abs(samples[0].parallax_px) < 1e-3);  // second order: 524 × 0.001² / 2
  }
}

TEST_CASE("a tilt misaligns in parallax, as a sine around the ring") {
  const Rig truth = plain_body();
  Rig estimated = truth;
  turn(estimated.lenses[1], Vec3::UnitX());
  const auto samples = seam_misalignment(estimated, truth, 0, 1, middle_of_ring());
  REQUIRE(samples.size() == 72);
  const auto summary = summarise(samples);
  REQUIRE(summary);
  // 0.523599 px at most; its root mean square over a whole turn is that / √2 = 0.370240 px.
  CHECK(summary->max_px == Approx(0.523599).epsilon(1e-5));
  CHECK(summary->parallax_rms_px == Approx(0.370240).epsilon(1e-5));
  CHECK(summary->sideways_rms_px < 1e-3);
}

TEST_CASE("a focal length a thousandth too long misaligns in parallax, alike all around") {
  const Rig truth = plain_body();
  Rig estimated = truth;
  estimated.lenses[1].lens.terms[kFocal] *= 1.001;
  const auto samples = seam_misalignment(estimated, truth, 0, 1, middle_of_ring());
  REQUIRE(samples.size() == 72);
  for (const SeamSample& sample : samples) {
    // The angle from lens 1's axis, π/2, is read as π/2 / 1.001: π/2 × 0.001 / 1.001 too small, at
    // 524.122 px/rad: 0.822467 px.
    CHECK(std::abs(sample.parallax_px) == Approx(0.822467).epsilon(1e-5));
    CHECK(std::abs(sample.sideways_px) < 1e-9);
  }
}

TEST_CASE("a summary by hand, and none of nothing") {
  // 3-4-5 and nothing: √(9/2), √(16/2), √(25/2).
  const auto summary = summarise({{{}, -3, 4}, {{}, 0, 0}});
  REQUIRE(summary);
  CHECK(summary->parallax_rms_px == Approx(2.121320));
  CHECK(summary->sideways_rms_px == Approx(2.828427));
  CHECK(summary->rms_px == Approx(3.535534));
  CHECK(summary->max_px == 5);
  const auto nothing = summarise({});
  REQUIRE_FALSE(nothing);
  CHECK(nothing.error().kind == ErrorKind::numeric);
}

}  // namespace
}  // namespace seamwright
