// Symmetric matrices whose columns differ by many powers of ten.

#include "solver/symmetric.h"

#include <catch2/catch.hpp>

#include "tests/support/random.h"

namespace seamwright {
namespace {

using test::Random;
using test::seed;

TEST_CASE("columns of very different size are inverted, singular ones refused") {
  Eigen::MatrixXd matrix(2, 2);
  matrix << 1e18, 1e5, 1e5, 1e-6;
  const Eigen::MatrixXd inverse = symmetric_inverse(matrix);
  REQUIRE(inverse.size() == 4);
  CHECK((matrix * inverse - Eigen::MatrixXd::Identity(2, 2)).cwiseAbs().maxCoeff() < 1e-3);
  matrix << 1, 1, 1, 1;
  CHECK(symmetric_inverse(matrix).size() == 0);
  CHECK(symmetric_inverse(matrix, 1e-9).size() == 4);
}

TEST_CASE("a root squares to its matrix, also where that is short of columns") {
  CAPTURE(seed());
  Random random(61);
  for (const Eigen::Index rows : {3, 8, 30}) {
    CAPTURE(rows);
    Eigen::MatrixXd wide(rows, 8);
    for (double& value : wide.reshaped()) value = random.normal(1);
    wide.col(2) *= 1e8;
    wide.col(5).setZero();
    wide.col(7) = 3 * wide.col(0);
    const Eigen::MatrixXd gram = wide.transpose() * wide;
    Eigen::MatrixXd lower = gram;
    lower.triangularView<Eigen::StrictlyUpper>().setZero();
    const Eigen::MatrixXd root = symmetric_root(lower);
    for (Eigen::Index i = 0; i < 8; ++i) {
      for (Eigen::Index k = 0; k < 8; ++k) {
        const double size = wide.col(i).norm() * wide.col(k).norm();
        CHECK((root.transpose() * root)(i, k) == Approx(gram(i, k)).margin(2e-13 * size));
      }
    }
  }
}

}  // namespace
}  // namespace seamwright
