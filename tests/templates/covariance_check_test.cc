#include "templates/covariance_check.h"

#include <catch2/catch.hpp>
#include <fmt/format.h>

#include "tests/templates/sample.h"

using namespace seamwright;
using namespace seamwright::test;

TEST_CASE("products A A^T are covariances whatever their units", "[templates]") {
  CAPTURE(seed());
  Random random(20);
  for (int k = 0; k < 200; ++k) {
    const int size = random.integer(1, 40);
    const int rank = random.integer(1, size + 5);  // below size: semi-definite only
    Eigen::MatrixXd root(size, rank);
    for (int i = 0; i < size; ++i) {
      const double unit = std::pow(10.0, random.uniform(-9, 3));
      for (int j = 0; j < rank; ++j) root(i, j) = unit * random.normal(1);
    }
    const auto why = why_no_covariance(root * root.transpose());
    CAPTURE(size, rank, why.value_or(""));
    CHECK_FALSE(why);
  }
}

TEST_CASE("a slightly impossible correlation is found whatever the units", "[templates]") {
  CAPTURE(seed());
  Random random(21);
  for (int k = 0; k < 200; ++k) {
    // Correlations a, b, c of three terms are possible when 1 + 2abc − a² − b² − c² ≥ 0; with
    // c = ab − √((1−a²)(1−b²)) it is 0, and a little beyond that it is impossible.
    const double a = random.uniform(-0.9, 0.9);
    const double b = random.uniform(-0.9, 0.9);
    const double edge = a * b - std::sqrt((1 - a * a) * (1 - b * b));
    for (const double beyond : {-1e-5, 1e-5}) {
      const double c = edge - beyond;
      Eigen::Matrix3d values;
      values << 1, a, b, a, 1, c, b, c, 1;
      Eigen::Vector3d unit;
      for (double& u : unit) u = std::pow(10.0, random.uniform(-8, 3));
      const auto why = why_no_covariance(unit.asDiagonal() * values * unit.asDiagonal());
      CAPTURE(a, b, c, beyond);
      CHECK(why.has_value() == (beyond > 0));
    }
  }
}

TEST_CASE("an empty covariance is one", "[templates]") {
  CHECK_FALSE(why_no_covariance(Eigen::MatrixXd(0, 0)));
  CHECK_FALSE(why_no_covariance(Eigen::MatrixXd::Zero(2, 2)));
}
