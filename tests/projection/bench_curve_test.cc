// A real lens on a bench: pins every 5° up to 90°, and the radius of each in the picture (Díaz, R
// package rcaiman; the row with `r_px` in fisheye_calibrations.json of the outside data). How far
// the textbook curves and ours are from it: the figures that stand beside the data there, computed
// by others' code (2.55, 11.13, 31.4, 53.9 px; 0.78 px with radial_1 and radial_2).

#include <array>
#include <cmath>
#include <fstream>
#include <string_view>
#include <vector>

#include <Eigen/Dense>
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "projection/lens.h"
#include "tests/support/shared_data.h"

namespace seamwright {
namespace {

struct Bench {
  std::vector<double> theta_rad;
  Eigen::VectorXd radius_px;
};

Bench bench_in(const std::filesystem::path& file) {
  Bench bench;
  std::ifstream in(file);
  for (const auto& row : nlohmann::json::parse(in)) {
    if (!row.contains("r_px")) continue;
    for (const double theta_deg : row.at("theta_deg")) {
      bench.theta_rad.push_back(rad_from_deg(theta_deg));
    }
    const auto radii = row.at("r_px").get<std::vector<double>>();
    bench.radius_px =
        Eigen::Map<const Eigen::VectorXd>(radii.data(), static_cast<Eigen::Index>(radii.size()));
  }
  REQUIRE(bench.theta_rad.size() == 19);
  REQUIRE(bench.radius_px.size() == 19);
  return bench;
}

// Radii of a lens of focal length 1.
Eigen::VectorXd radii_of(const Lens& lens, const Bench& bench) {
  Eigen::VectorXd radii(bench.radius_px.size());
  for (Eigen::Index i = 0; i < radii.size(); ++i) {
    radii[i] = lens.radius(bench.theta_rad[static_cast<std::size_t>(i)]);
  }
  return radii;
}

// RMS of what is left of the bench's radii by the best focal length, and by the best of those
// radial terms, in which a radius is linear.
double left_px(const Bench& bench, LensCurve curve, std::vector<LensTerm> radial = {}) {
  Lens lens;
  lens.curve = curve;
  Eigen::MatrixXd columns(bench.radius_px.size(), 1 + static_cast<Eigen::Index>(radial.size()));
  columns.col(0) = radii_of(lens, bench);
  for (std::size_t i = 0; i < radial.size(); ++i) {
    Lens bent = lens;
    bent.terms[static_cast<std::size_t>(radial[i])] = 1;
    columns.col(static_cast<Eigen::Index>(i) + 1) = radii_of(bent, bench) - columns.col(0);
  }
  const Eigen::VectorXd best = columns.colPivHouseholderQr().solve(bench.radius_px);
  return std::sqrt((bench.radius_px - columns * best).squaredNorm() /
                   static_cast<double>(bench.radius_px.size()));
}

TEST_CASE("a lens on a bench is as far from each curve as others found", "[lens][outside_data]") {
  const auto file = test::shared_data("fisheye_calibrations.json");
  if (!file) return;
  const Bench bench = bench_in(*file);
  CHECK(left_px(bench, LensCurve::equidistant) == Approx(2.55).margin(0.005));
  CHECK(left_px(bench, LensCurve::equisolid) == Approx(11.13).margin(0.005));
  CHECK(left_px(bench, LensCurve::stereographic) == Approx(31.4).margin(0.05));
  CHECK(left_px(bench, LensCurve::orthographic) == Approx(53.9).margin(0.05));
  CHECK(left_px(bench, LensCurve::equidistant, {kRadial1, kRadial2}) == Approx(0.78).margin(0.005));
}

}  // namespace
}  // namespace seamwright
