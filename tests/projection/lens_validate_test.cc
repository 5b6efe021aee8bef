// What is no lens is refused, by field, value and angle.

#include <cmath>
#include <limits>
#include <string>

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "projection/lens.h"
#include "projection/rig.h"
#include "tests/support/rigs.h"

namespace seamwright {

using test::nominal_rig;
using test::Random;
using test::random_rig;
using test::RigOptions;
using test::seed;

namespace {

Lens good_lens() { return nominal_rig().lenses[0].lens; }

void refused(const Lens& lens, const std::string& field, const std::string& what) {
  const auto error = lens.validate();
  REQUIRE(error);
  CHECK(error->kind == ErrorKind::user_input);
  CHECK(error->field == field);
  CHECK_THAT(error->what, Catch::Contains(what));
  CHECK_FALSE(error->remedy.empty());
  CHECK(error->line().find('\n') == std::string::npos);
}

}  // namespace

TEST_CASE("a polynomial made to fold is refused with the angle where it folds",
          "[lens][validate]") {
  int cases = 0;
  for (const double fold_deg : {20.0, 60.0, 89.0, 95.0, 99.9}) {
    Lens lens = good_lens();
    // θ (1 + radial_1 θ²) is stationary where 1 + 3 radial_1 θ² = 0.
    const double fold = rad_from_deg(fold_deg);
    lens.terms[kRadial1] = -1 / (3 * fold * fold);
    CHECK(lens.fold_angle_rad() == Approx(fold).epsilon(1e-9));
    refused(lens, "theta_max_deg", fmt::format("{:.3f}", fold_deg));
    refused(lens, "theta_max_deg", "100.000");
    lens.theta_max_rad = fold - 1e-6;
    CHECK_FALSE(lens.validate());
    ++cases;
  }
  CHECK(cases == 5);
}

TEST_CASE("a fold that straightens again is still found", "[lens][validate]") {
  // Slope 1 + 3 radial_1 θ² + 5 radial_2 θ⁴ with roots at 60° and 70° in θ, positive again beyond.
  const double a = std::pow(rad_from_deg(60), 2);
  const double b = std::pow(rad_from_deg(70), 2);
  Lens lens = good_lens();
  lens.terms[kRadial1] = -(1 / a + 1 / b) / 3;
  lens.terms[kRadial2] = 1 / (a * b) / 5;
  CHECK(lens.radius_slope(rad_from_deg(80)) > 0);
  CHECK(lens.fold_angle_rad() == Approx(rad_from_deg(60)).epsilon(1e-9));
  refused(lens, "theta_max_deg", "60.000");
}

TEST_CASE("curves fold at their own limits", "[lens][validate]") {
  Lens lens = good_lens();
  const auto folds_at = [&](LensCurve curve) {
    lens.curve = curve;
    return deg_from_rad(lens.fold_angle_rad());
  };
  CHECK(folds_at(LensCurve::equidistant) == Approx(180).epsilon(1e-12));
  CHECK(folds_at(LensCurve::equisolid) == Approx(180).epsilon(1e-12));
  CHECK(folds_at(LensCurve::stereographic) == Approx(175).epsilon(1e-12));
  CHECK(folds_at(LensCurve::orthographic) == Approx(90).epsilon(1e-12));
}

TEST_CASE("decentring that folds the rim is refused", "[lens][validate]") {
  Lens lens = good_lens();
  lens.terms[kDecentreU] = 0.3;
  refused(lens, "decentre_u/decentre_v", "0.3");
  lens.terms[kDecentreU] = 0;
  lens.terms[kDecentreV] = -0.3;
  refused(lens, "decentre_u/decentre_v", "-0.3");
  lens.terms[kDecentreV] = -0.02;
  CHECK_FALSE(lens.validate());
}

TEST_CASE("nonsense in any field is refused by its name", "[lens][validate]") {
  const double nan = std::numeric_limits<double>::quiet_NaN();
  const double infinity = std::numeric_limits<double>::infinity();
  REQUIRE_FALSE(good_lens().validate());
  int cases = 0;
  for (int i = 0; i < kLensTermCount; ++i) {
    const auto index = static_cast<std::size_t>(i);
    for (const double bad : {nan, infinity, -infinity}) {
      Lens lens = good_lens();
      lens.terms[index] = bad;
      refused(lens, std::string(kLensTermNames[index]), "not a finite number");
      ++cases;
    }
  }
  CHECK(cases == 3 * kLensTermCount);
  const auto with = [](auto change) {
    Lens lens = good_lens();
    change(lens);
    return lens;
  };
  refused(with([](Lens& l) { l.terms[kFocal] = -3; }), "focal_px", "-3");
  refused(with([](Lens& l) { l.terms[kFocal] = 0; }), "focal_px", "0");
  refused(with([](Lens& l) { l.width_px = 0; }), "size_px", "0 x 2000");
  refused(with([](Lens& l) { l.height_px = -5; }), "size_px", "2000 x -5");
  refused(with([](Lens& l) { l.terms[kAspect] = -1; }), "aspect/shear", "-1");
  refused(with([](Lens& l) { l.terms[kShear] = 0.7; }), "aspect/shear", "0.7");
  for (const double bad : {0.0, -1.0, 180.0, 400.0, nan}) {
    refused(with([&](Lens& l) { l.theta_max_rad = rad_from_deg(bad); }), "theta_max_deg",
            "outside 0…180");
  }
  refused(with([&](Lens& l) { l.red.a1 = nan; }), "red", "not a finite number");
  refused(with([&](Lens& l) { l.blue.a2 = infinity; }), "blue", "not a finite number");
  refused(with([&](Lens& l) { l.vignetting.v3 = nan; }), "vignetting", "not a finite number");
  refused(with([&](Lens& l) { l.vignetting.v1 = -2; }), "vignetting", "not above 0");
}

TEST_CASE("a rig is refused by the lens that is wrong", "[rig][validate]") {
  RigOptions options;
  options.lens_count = 4;
  const Rig good = nominal_rig(options);
  REQUIRE_FALSE(good.validate());
  const auto refused_rig = [](const Rig& rig, const std::string& field, const std::string& what) {
    const auto error = rig.validate();
    REQUIRE(error);
    CHECK(error->field == field);
    CHECK_THAT(error->line(), Catch::Contains(what));
  };
  Rig rig = good;
  rig.lenses[2].lens.terms[kFocal] = -1;
  refused_rig(rig, "lenses[2].focal_px", "-1");
  rig = good;
  rig.lenses[3].lens.width_px = 1000;
  refused_rig(rig, "lenses[3].size_px", "differs from lens 0");
  rig = good;
  rig.lenses[1].pupil.y() = std::numeric_limits<double>::quiet_NaN();
  refused_rig(rig, "lenses[1].mount", "finite");
  rig = good;
  rig.lenses[1].rig_from_lens.coeffs() *= 1.01;
  refused_rig(rig, "lenses[1].mount", "");
  rig = good;
  rig.lenses[1].pupil_travel = std::numeric_limits<double>::infinity();
  refused_rig(rig, "lenses[1].mount", "finite");
  rig.lenses.resize(1);
  refused_rig(rig, "lenses", "1 lenses");
  rig.lenses.clear();
  refused_rig(rig, "lenses", "0 lenses");
  rig.lenses.assign(9, good.lenses[0]);
  refused_rig(rig, "lenses", "9 lenses");
}

TEST_CASE("random bodies are valid and differ from nominal", "[rig][validate]") {
  CAPTURE(seed());
  Random random(51);
  int cases = 0;
  for (int curve = 0; curve < kLensCurveCount; ++curve) {
    for (const int count : {2, 3, 4, 6}) {
      for (int i = 0; i < 10; ++i) {
        RigOptions options;
        options.lens_count = count;
        options.curve = static_cast<LensCurve>(curve);
        const Rig rig = random_rig(random, options);
        REQUIRE_FALSE(rig.validate());
        REQUIRE(rig.lens_count() == count);
        REQUIRE_FALSE(rig.lenses[1].lens == nominal_rig(options).lenses[1].lens);
        ++cases;
      }
    }
  }
  CHECK(cases == 160);
}

}  // namespace seamwright
