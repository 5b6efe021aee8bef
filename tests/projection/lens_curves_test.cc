#include "projection/lens_curves.h"

#include <cmath>
#include <string>

#include <catch2/catch.hpp>

#include "projection/lens.h"
#include "tests/support/matchers.h"
#include "tests/support/random_geometry.h"
#include "tests/support/rigs.h"

namespace seamwright {

using test::near_pixel;
using test::Random;
using test::random_direction_within;
using test::same_direction;
using test::seed;
using test::usable_theta_rad;

namespace {

// The curve's place in the list is its run-time name.
template <class Curve>
LensCurve curve_of() {
  for (int i = 0; i < kLensCurveCount; ++i) {
    const auto curve = static_cast<LensCurve>(i);
    if (curve_name(curve) == Curve::name) return curve;
  }
  FAIL("curve without a run-time name");
  return {};
}

template <class Curve>
Lens textbook_lens(double theta_max_rad) {
  Lens lens;
  lens.curve = curve_of<Curve>();
  lens.terms[kFocal] = 500;
  lens.terms[kCentreU] = 1003.25;
  lens.terms[kCentreV] = 998.5;
  lens.theta_max_rad = theta_max_rad;
  lens.width_px = 2000;
  lens.height_px = 2000;
  return lens;
}

// r/f at 45°, 90° and 97.5°, to six decimals. Formulas: Schneider, Schwalbe, Maas 2009, ISPRS
// Journal of Photogrammetry and Remote Sensing 64:259–266 (page from memory); values computed from
// them outside of this program.
struct Row {
  double theta_deg;
  double equidistant, equisolid, stereographic, orthographic;
};
constexpr Row kTable[] = {{45, 0.785398, 0.765367, 0.828427, 0.707107},
                          {90, 1.570796, 1.414214, 2.000000, 1.000000},
                          {97.5, 1.701696, 1.503680, 2.280563, 0}};

template <class Curve>
double in_table(const Row& row) {
  if (Curve::name == "equidistant") return row.equidistant;
  if (Curve::name == "equisolid") return row.equisolid;
  if (Curve::name == "stereographic") return row.stereographic;
  return row.orthographic;
}

}  // namespace

TEST_CASE("curve names and their order", "[lens][curves]") {
  CHECK(kLensCurveCount == 4);
  CHECK(curve_name(LensCurve::equidistant) == "equidistant");
  CHECK(curve_name(LensCurve::equisolid) == "equisolid");
  CHECK(curve_name(LensCurve::stereographic) == "stereographic");
  CHECK(curve_name(LensCurve::orthographic) == "orthographic");
}

TEMPLATE_LIST_TEST_CASE("curves agree with the published formulas", "[lens][curves]", LensCurves) {
  int cases = 0;
  for (const Row& row : kTable) {
    const double theta = rad_from_deg(row.theta_deg);
    if (theta > TestType::theta_limit_rad) continue;
    CHECK(TestType::radius(theta) == Approx(in_table<TestType>(row)).margin(5e-7));
    const Lens lens = textbook_lens<TestType>(usable_theta_rad(curve_of<TestType>(), theta));
    CHECK(lens.radius(theta) == TestType::radius(theta));
    ++cases;
  }
  CHECK(cases == (TestType::name == "orthographic" ? 2 : 3));
}

TEMPLATE_LIST_TEST_CASE("a textbook lens puts directions where the formula says", "[lens][curves]",
                        LensCurves) {
  const Lens lens =
      textbook_lens<TestType>(usable_theta_rad(curve_of<TestType>(), rad_from_deg(110)));
  REQUIRE_FALSE(lens.validate());
  int cases = 0;
  for (double theta = 0; theta <= lens.theta_max_rad; theta += rad_from_deg(2.5)) {
    for (double azimuth = -kPi; azimuth < kPi; azimuth += 0.1) {
      const Vec3 direction(std::sin(theta) * std::cos(azimuth), std::sin(theta) * std::sin(azimuth),
                           std::cos(theta));
      const double r = 500 * TestType::radius(theta);
      const auto px = lens.project(direction);
      REQUIRE(px);
      REQUIRE_THAT(
          *px,
          near_pixel(Vec2(1003.25 + r * std::cos(azimuth), 998.5 + r * std::sin(azimuth)), 1e-10));
      ++cases;
    }
  }
  CHECK(cases > 2000);
}

TEMPLATE_LIST_TEST_CASE("the radius' slope is its derivative", "[lens][curves]", LensCurves) {
  Lens lens = textbook_lens<TestType>(usable_theta_rad(curve_of<TestType>(), rad_from_deg(105)));
  lens.terms[kRadial1] = 0.01;
  lens.terms[kRadial2] = -0.004;
  lens.terms[kRadial3] = 0.002;
  lens.terms[kRadial4] = -0.0003;
  constexpr double kStep = 1e-5;
  for (double theta = 0.01; theta < lens.theta_max_rad; theta += 0.01) {
    const double numeric = (lens.radius(theta + kStep) - lens.radius(theta - kStep)) / (2 * kStep);
    REQUIRE(lens.radius_slope(theta) == Approx(numeric).margin(1e-9));
  }
  CHECK(lens.radius_slope(0) == 1);
}

TEMPLATE_LIST_TEST_CASE("beyond the field of view nothing is projected", "[lens][curves]",
                        LensCurves) {
  const Lens lens =
      textbook_lens<TestType>(usable_theta_rad(curve_of<TestType>(), rad_from_deg(95)));
  const auto at = [](double theta) { return Vec3(std::sin(theta), 0, std::cos(theta)); };
  CHECK(lens.project(at(lens.theta_max_rad)));
  CHECK(lens.project(at(lens.theta_max_rad - 1e-9)));
  CHECK_FALSE(lens.project(at(lens.theta_max_rad + 1e-9)));
  CHECK_FALSE(lens.project({0, 0, -1}));
  Eigen::Matrix<double, 2, 3> jacobian;
  CHECK_FALSE(lens.project(at(lens.theta_max_rad + 1e-9), jacobian));
  const double rim_px = lens.rim_radius_px();
  CHECK(lens.unproject(Vec2(1003.25 + rim_px - 1e-6, 998.5)));
  CHECK_FALSE(lens.unproject(Vec2(1003.25 + rim_px + 1e-6, 998.5)));
  CHECK_FALSE(lens.unproject(Vec2(-5000, -5000)));
  // A picture of the rim itself comes back as far as rounding lets it.
  const auto rim = lens.project(at(lens.theta_max_rad));
  REQUIRE(rim);
  const auto back = lens.unproject(*rim);
  REQUIRE(back);
  CHECK_THAT(*back, same_direction(at(lens.theta_max_rad), 1e-12));
}

TEST_CASE("an orthographic lens that claims 97.5 degrees is refused", "[lens][curves]") {
  const Lens lens = textbook_lens<OrthographicCurve>(rad_from_deg(97.5));
  const auto error = lens.validate();
  REQUIRE(error);
  CHECK(error->field == "theta_max_deg");
  CHECK_THAT(error->line(), Catch::Contains("orthographic"));
  CHECK_THAT(error->line(), Catch::Contains("90.000"));
  CHECK_THAT(error->line(), Catch::Contains("97.500"));
}

TEST_CASE("any length of a direction gives the same pixel", "[lens][curves]") {
  CAPTURE(seed());
  Random random(4);
  const Lens lens = textbook_lens<EquisolidCurve>(rad_from_deg(110));
  for (int i = 0; i < 1000; ++i) {
    const Vec3 direction = random_direction_within(random, rad_from_deg(110));
    const double length = std::pow(10.0, random.uniform(-6, 6));
    REQUIRE_THAT(lens.project(length * direction).value(),
                 near_pixel(lens.project(direction).value(), 1e-9));
  }
}

}  // namespace seamwright
