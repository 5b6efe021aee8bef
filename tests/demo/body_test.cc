#include "apps/demo/body.h"

#include <cmath>

#include <catch2/catch.hpp>

#include "apps/demo/shots.h"
#include "tests/support/matchers.h"

using namespace seamwright;

TEST_CASE("a Lantern body is what it says for many seeds") {
  for (std::uint64_t seed = 1; seed <= 200; ++seed) {
    CAPTURE(seed);
    const auto rig = demo_body(seed, 2000);
    REQUIRE(rig.has_value());
    REQUIRE(rig->lens_count() == 2);
    CHECK(rig->metric);
    CHECK(rig->centre().norm() < 1e-15);
    const Vec3 baseline = rig->baseline(0, 1);
    CHECK(baseline.z() == Approx(0.027));
    CHECK(std::hypot(baseline.x(), baseline.y()) <= 0.001);
    CHECK_THAT(rig->lenses[0].rig_from_lens, test::same_rotation(Quat::Identity(), 1e-15));
    const Quat upright_back(Eigen::AngleAxisd(kPi, Vec3::UnitY()));
    CHECK(test::angle_between_rotations(rig->lenses[1].rig_from_lens, upright_back) <
          rad_from_deg(2.0));
    for (const MountedLens& mounted : rig->lenses) {
      const Lens& lens = mounted.lens;
      // The whole image circle lies inside the frame, and nearly fills it.
      const double reach =
          std::max((lens.centre_px() - Vec2(1000, 1000)).cwiseAbs().maxCoeff(), 0.0);
      CHECK(lens.rim_radius_px() + reach < 995);
      CHECK(lens.rim_radius_px() > 930);
      CHECK(lens.terms[kFocal] == Approx(540).margin(40));
      CHECK(lens.fold_angle_rad() > rad_from_deg(102 + 3.2));
      // At the rim red and blue leave green by one to two pixels, to opposite sides.
      const double red_px = lens.rim_radius_px() * (lens.red.scale(1) - 1);
      const double blue_px = lens.rim_radius_px() * (lens.blue.scale(1) - 1);
      CHECK(red_px > 1);
      CHECK(red_px < 2);
      CHECK(blue_px < -1);
      CHECK(blue_px > -2);
      CHECK(lens.vignetting.gain(1) > 0.5);
      CHECK(lens.vignetting.gain(1) < 0.8);
    }
  }
}

TEST_CASE("the lenses are near equidistant but not nominal") {
  int clearly_off = 0;
  for (std::uint64_t seed = 1; seed <= 50; ++seed) {
    const auto rig = demo_body(seed, 2000);
    REQUIRE(rig.has_value());
    for (const MountedLens& mounted : rig->lenses) {
      const Lens& lens = mounted.lens;
      // The equidistant lens with the same rim.
      const double f = lens.rim_radius_px() / lens.theta_max_rad;
      double worst = 0;
      for (double theta = 0.1; theta < lens.theta_max_rad; theta += 0.1) {
        worst = std::max(worst, std::abs(lens.terms[kFocal] * lens.radius(theta) - f * theta));
      }
      CHECK(worst < 60);
      clearly_off += worst > 3 ? 1 : 0;
    }
  }
  CHECK(clearly_off > 90);
}

TEST_CASE("a body is the same at every size and differs from seed to seed") {
  const auto large = demo_body(5, 2000);
  const auto small = demo_body(5, 500);
  const auto other = demo_body(6, 2000);
  REQUIRE(large.has_value());
  REQUIRE(small.has_value());
  REQUIRE(other.has_value());
  const Vec3 direction = Vec3(0.7, -0.4, -0.1).normalized();
  const auto px_large = large->lenses[0].project_direction(direction);
  const auto px_small = small->lenses[0].project_direction(direction);
  const auto px_other = other->lenses[0].project_direction(direction);
  REQUIRE(px_large.has_value());
  REQUIRE(px_small.has_value());
  REQUIRE(px_other.has_value());
  CHECK_THAT(*px_small * 4, test::near_pixel(*px_large, 1e-9));
  CHECK((*px_other - *px_large).norm() > 1);
  CHECK(large->lenses[1].pupil == small->lenses[1].pupil);
}

TEST_CASE("every base curve that reaches beyond 90° makes a body") {
  for (const auto curve :
       {LensCurve::equidistant, LensCurve::equisolid, LensCurve::stereographic}) {
    for (const double field : {195.0, 204.0, 220.0}) {
      for (std::uint64_t seed = 1; seed <= 20; ++seed) {
        CAPTURE(curve_name(curve), field, seed);
        const auto rig = demo_body(seed, 1000, {.curve = curve, .field_of_view_deg = field});
        REQUIRE(rig.has_value());
        CHECK(rig->lenses[0].lens.theta_max_rad == Approx(rad_from_deg(0.5 * field)));
      }
    }
  }
  CHECK_FALSE(demo_body(1, 1000, {.curve = LensCurve::orthographic}).has_value());
}

TEST_CASE("options out of range are named") {
  const auto refused = [](const BodyOptions& options, std::string_view field) {
    const auto rig = demo_body(1, 1000, options);
    REQUIRE_FALSE(rig.has_value());
    CHECK(rig.error().field == field);
    CHECK_FALSE(rig.error().remedy.empty());
  };
  refused({.field_of_view_deg = 150}, "field_of_view_deg");
  refused({.baseline_m = 0}, "baseline_m");
  refused({.pupil_travel_m = 0.1}, "pupil_travel_m");
  refused({.centre_shift = 0.5}, "centre_shift");
  refused({.mount_error_deg = std::nan("")}, "mount_error_deg");
  CHECK_FALSE(demo_body(1, 10).has_value());
}

TEST_CASE("the flex of the shots has the stated spread") {
  const auto body = demo_body(3, 1000);
  REQUIRE(body.has_value());
  double squares = 0;
  int count = 0;
  for (std::uint64_t seed = 0; seed < 40; ++seed) {
    for (const DemoShot& shot : demo_shots()) {
      const Rig rig = demo_shot_rig(*body, seed, shot.name, 0.02);
      CHECK(rig.lenses[0].rig_from_lens.coeffs() == body->lenses[0].rig_from_lens.coeffs());
      const Vec3 flex = rotation_vector_from_quat(rig.lenses[1].rig_from_lens *
                                                  body->lenses[1].rig_from_lens.conjugate());
      squares += flex.squaredNorm();
      count += 3;
    }
  }
  REQUIRE(count == 40 * 3 * static_cast<int>(demo_shots().size()));
  // 1920 draws: the estimate of σ is good to 1.6 %; four times that.
  CHECK(deg_from_rad(std::sqrt(squares / count)) == Approx(0.02).epsilon(0.065));
  const Rig stiff = demo_shot_rig(*body, 1, "hall_1", 0);
  CHECK_THAT(stiff.lenses[1].rig_from_lens,
             test::same_rotation(body->lenses[1].rig_from_lens, 1e-15));
}
