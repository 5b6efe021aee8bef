// Derivatives of the lens model: the public Jacobian, ceres::Jet through the template, and central
// differences all say the same.

#include <array>
#include <cmath>

#include <catch2/catch.hpp>
#include <ceres/jet.h>

#include "projection/lens.h"
#include "tests/support/random_geometry.h"
#include "tests/support/rigs.h"

namespace seamwright {

using test::Random;
using test::random_direction_within;
using test::random_rig;
using test::RigOptions;
using test::seed;

namespace {

using Jacobian = Eigen::Matrix<double, 2, 3>;
constexpr int kParameters = kLensTermCount + 3;
using Jet = ceres::Jet<double, kParameters>;
using FullJacobian = Eigen::Matrix<double, 2, kParameters>;

// By all lens terms, then the direction.
FullJacobian by_jets(const Lens& lens, const Vec3& direction) {
  std::array<Jet, kLensTermCount> terms;
  for (int i = 0; i < kLensTermCount; ++i) {
    terms[static_cast<std::size_t>(i)] = Jet(lens.terms[static_cast<std::size_t>(i)], i);
  }
  Eigen::Matrix<Jet, 3, 1> d;
  for (int i = 0; i < 3; ++i) d[i] = Jet(direction[i], kLensTermCount + i);
  return with_curve(lens.curve, [&](auto curve) {
    const auto px = project_with<decltype(curve)>(terms.data(), d);
    FullJacobian jacobian;
    jacobian << px.x().v.transpose(), px.y().v.transpose();
    return jacobian;
  });
}

Vec2 unchecked(const Lens& lens, const Vec3& direction) {
  return with_curve(lens.curve, [&](auto curve) {
    return Vec2(project_with<decltype(curve)>(lens.terms.data(), direction));
  });
}

FullJacobian by_differences(const Lens& lens, const Vec3& direction) {
  FullJacobian jacobian;
  for (int i = 0; i < kParameters; ++i) {
    const bool is_term = i < kLensTermCount;
    const double step = i <= kCentreV ? 1e-3 : 1e-6;
    std::array<Vec2, 2> px;
    for (const int side : {0, 1}) {
      Lens moved = lens;
      Vec3 turned = direction;
      const double by = side == 0 ? -step : step;
      (is_term ? moved.terms[static_cast<std::size_t>(i)] : turned[i - kLensTermCount]) += by;
      px[static_cast<std::size_t>(side)] = unchecked(moved, turned);
    }
    jacobian.col(i) = (px[1] - px[0]) / (2 * step);
  }
  return jacobian;
}

Lens any_lens(Random& random, int curve) {
  RigOptions options;
  options.curve = static_cast<LensCurve>(curve);
  options.theta_max_rad = rad_from_deg(110);
  options.decentring_spread = 5e-3;
  options.affine_spread = 1e-2;
  return random_rig(random, options).lenses[0].lens;
}

}  // namespace

TEST_CASE("the Jacobian by the direction equals that of Jets and of differences",
          "[lens][jacobian]") {
  CAPTURE(seed());
  Random random(41);
  int cases = 0;
  for (int curve = 0; curve < kLensCurveCount; ++curve) {
    for (int i = 0; i < 500; ++i) {
      const Lens lens = any_lens(random, curve);
      Vec3 direction = random_direction_within(random, lens.theta_max_rad - 1e-3);
      direction *= random.uniform(0.5, 2);  // not normalised: the Jacobian is that of the scaling
      Jacobian jacobian;
      const auto px = lens.project(direction, jacobian);
      CAPTURE(curve_name(lens.curve), direction.transpose());
      REQUIRE(px);
      REQUIRE(jacobian == lens.slopes_at(direction).by_direction);
      // Another order of the same operations.
      REQUIRE((*px - lens.project(direction).value()).norm() <= 1e-15 * lens.width_px * 4);
      const FullJacobian jets = by_jets(lens, direction);
      REQUIRE((jacobian - jets.rightCols<3>()).cwiseAbs().maxCoeff() <= 1e-10);
      const FullJacobian differences = by_differences(lens, direction);
      // Central differences of a function of a few hundred pixels: 1e-13 / 1e-6 from rounding.
      REQUIRE((jacobian - differences.rightCols<3>()).cwiseAbs().maxCoeff() <= 2e-5);
      // A longer direction is the same pixel: no change along it.
      REQUIRE((jacobian * direction).norm() <= 1e-9);
      ++cases;
    }
  }
  CHECK(cases == 2000);
}

TEST_CASE("the Jacobian by the lens terms, by Jets and by differences", "[lens][jacobian]") {
  CAPTURE(seed());
  Random random(42);
  int cases = 0;
  for (int curve = 0; curve < kLensCurveCount; ++curve) {
    for (int i = 0; i < 200; ++i) {
      const Lens lens = any_lens(random, curve);
      const Vec3 direction = random_direction_within(random, lens.theta_max_rad - 1e-3);
      CAPTURE(curve_name(lens.curve), direction.transpose());
      const FullJacobian jets = by_jets(lens, direction);
      const FullJacobian differences = by_differences(lens, direction);
      for (int term = 0; term < kLensTermCount; ++term) {
        CAPTURE(kLensTermNames[static_cast<std::size_t>(term)]);
        // Relative to the column: radial_4 moves rim pixels by f θ⁹.
        const double scale = 1 + jets.col(term).norm();
        REQUIRE((jets.col(term) - differences.col(term)).norm() <= 2e-6 * scale);
      }
      ++cases;
    }
  }
  CHECK(cases == 800);
}

TEST_CASE("derivatives on the axis and right beside it are finite and equal", "[lens][jacobian]") {
  CAPTURE(seed());
  Random random(43);
  for (int curve = 0; curve < kLensCurveCount; ++curve) {
    const Lens lens = any_lens(random, curve);
    const double f = lens.terms[kFocal];
    Jacobian expected;
    expected << f * (1 + lens.terms[kAspect]), f * lens.terms[kShear], 0, 0, f, 0;
    for (const double off : {0.0, 1e-15, 0.99e-12, 1.01e-12, 1e-10, 1e-8, 1e-7}) {
      const Vec3 direction(0.8 * off, -0.6 * off, 1);
      CAPTURE(curve_name(lens.curve), off);
      Jacobian jacobian;
      REQUIRE(lens.project(direction, jacobian));
      CHECK(jacobian.allFinite());
      CHECK((jacobian - expected).cwiseAbs().maxCoeff() <= 1e-9 * f + 10 * f * off);
      const FullJacobian jets = by_jets(lens, direction);
      CHECK(jets.allFinite());
      CHECK((jacobian - jets.rightCols<3>()).cwiseAbs().maxCoeff() <= 1e-10);
      // Decentring and radial terms do nothing on the axis.
      CHECK(jets.middleCols<4>(kRadial1).norm() <= 10 * f * off);
      CHECK(jets.middleCols<2>(kDecentreU).norm() <= 10 * f * off);
    }
  }
}

TEST_CASE("the template with doubles is the lens' own projection", "[lens][jacobian]") {
  CAPTURE(seed());
  Random random(44);
  for (int curve = 0; curve < kLensCurveCount; ++curve) {
    const Lens lens = any_lens(random, curve);
    for (int i = 0; i < 100; ++i) {
      const Vec3 direction = random_direction_within(random, lens.theta_max_rad - 1e-3);
      REQUIRE(unchecked(lens, direction) == lens.project(direction).value());
    }
  }
}

}  // namespace seamwright
