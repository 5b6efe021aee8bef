#include "projection/dense_algebra.h"

#include <cmath>
#include <complex>

#include <catch2/catch.hpp>

#include "projection/conventions.h"

namespace seamwright {
namespace {

// The second difference on n places: 2 on the diagonal, −1 beside it. Its eigenvalues are
// 2 − 2 cos(kπ / (n + 1)), k = 1 … n (Strang, Introduction to Applied Mathematics, 1986, 5.5; from
// memory).
Eigen::MatrixXd second_difference(int n) {
  Eigen::MatrixXd m = 2 * Eigen::MatrixXd::Identity(n, n);
  for (int i = 1; i < n; ++i) m(i, i - 1) = m(i - 1, i) = -1;
  return m;
}

// 1 / (i + j + 1). The inverse of the 3 × 3 one is known in whole numbers (Hilbert 1894).
Eigen::MatrixXd hilbert(int n) {
  Eigen::MatrixXd m(n, n);
  for (int i = 0; i < n; ++i) {
    for (int j = 0; j < n; ++j) m(i, j) = 1.0 / (i + j + 1);
  }
  return m;
}

Eigen::Matrix3d inverse_hilbert3() {
  Eigen::Matrix3d m;
  m << 9, -36, 30, -36, 192, -180, 30, -180, 180;
  return m;
}

TEST_CASE("eigenvalues of symmetric matrices are those of the textbook") {
  for (const int n : {1, 2, 3, 6, 10}) {
    const Eigen::MatrixXd m = second_difference(n);
    const SymmetricEigen eigen = eigen_of_symmetric(m);
    REQUIRE(eigen.found);
    const Eigen::VectorXd values = eigenvalues_of_symmetric(m);
    for (int k = 0; k < n; ++k) {
      const double expected = 2 - 2 * std::cos((k + 1) * kPi / (n + 1));
      CHECK(eigen.values[k] == Approx(expected).epsilon(1e-13));
      CHECK(values[k] == Approx(expected).epsilon(1e-13));
    }
    CHECK((m * eigen.vectors - eigen.vectors * eigen.values.asDiagonal()).norm() < 1e-13 * n);
    CHECK((eigen.vectors.transpose() * eigen.vectors).isIdentity(1e-13));
  }
  const Eigen::Vector2d two = eigenvalues_of_symmetric2(second_difference(2));
  CHECK(two[0] == Approx(1));
  CHECK(two[1] == Approx(3));
  const SymmetricEigen3 three = eigen_of_symmetric3(second_difference(3));
  CHECK(three.values[0] == Approx(2 - std::sqrt(2.0)));
  CHECK(std::abs(three.vectors.col(1).dot(Vec3(1, 0, -1).normalized())) == Approx(1));
}

TEST_CASE("a pencil's vectors are normalised by its second matrix") {
  const Eigen::MatrixXd a = second_difference(6);
  const Eigen::MatrixXd b = hilbert(6) + Eigen::MatrixXd::Identity(6, 6);
  const SymmetricEigen eigen = eigen_of_pencil(a, b);
  REQUIRE(eigen.found);
  CHECK((a * eigen.vectors - b * eigen.vectors * eigen.values.asDiagonal()).norm() < 1e-12);
  CHECK((eigen.vectors.transpose() * b * eigen.vectors).isIdentity(1e-12));
}

TEST_CASE("the eigenvalues of a companion matrix are its polynomial's roots") {
  // (x − 1)(x − 2)(x² + 1) = x⁴ − 3x³ + 3x² − 3x + 2
  Eigen::MatrixXd companion = Eigen::MatrixXd::Zero(4, 4);
  companion.row(0) << 3, -3, 3, -2;
  for (int i = 1; i < 4; ++i) companion(i, i - 1) = 1;
  const GeneralEigen eigen = eigen_of_square(companion);
  REQUIRE(eigen.found);
  for (const std::complex<double> root : {std::complex<double>(1, 0), {2, 0}, {0, 1}, {0, -1}}) {
    CHECK((eigen.values.array() - root).abs().minCoeff() < 1e-12);
  }
}

TEST_CASE("a Hilbert matrix is inverted to whole numbers") {
  const Eigen::MatrixXd m = hilbert(3);
  const Eigen::Matrix3d expected = inverse_hilbert3();
  const auto inverse = inverse_of(m);
  REQUIRE(inverse);
  CHECK((*inverse - expected).norm() < 1e-10);
  const SymmetricFactor factor(m);
  CHECK(factor.found());
  CHECK(factor.is_positive());
  CHECK((factor.inverse() - expected).norm() < 1e-10);
  // Its condition in the 1-norm is 748 (= 11/6 × 408).
  CHECK(factor.rcond() == Approx(1 / 748.0).epsilon(1e-6));
  const Eigen::VectorXd right = m * Vec3(1, -2, 3);
  CHECK((solve_symmetric(m, right) - Vec3(1, -2, 3)).norm() < 1e-12);
  CHECK((solve_square(m, right) - Vec3(1, -2, 3)).norm() < 1e-12);
}

TEST_CASE("what cannot be inverted or is not positive says so") {
  const Eigen::MatrixXd singular = Vec3(1, 2, 3) * Vec3(1, 2, 3).transpose();
  CHECK_FALSE(inverse_of(singular));
  CHECK_FALSE(SymmetricFactor(-second_difference(4)).is_positive());
}

TEST_CASE("singular values rebuild their matrix") {
  Mat3 m;
  m << 0, -2, 0, 3, 0, 0, 0, 0, 0;  // a turn by 90° of what was drawn out by 3 and 2, and flattened
  const Svd3 svd = svd_of3(m);
  CHECK((svd.values - Vec3(3, 2, 0)).norm() < 1e-14);
  CHECK((svd.u * svd.values.asDiagonal() * svd.v.transpose() - m).norm() < 1e-14);
  CHECK((svd.u * svd.u.transpose()).isIdentity(1e-14));
  CHECK((svd.v * svd.v.transpose()).isIdentity(1e-14));
}

TEST_CASE("of all solutions the shortest is given") {
  // x + y = 2 leaves the difference open, and twice the same line adds nothing.
  Eigen::MatrixXd a(2, 2);
  a << 1, 1, 1, 1;
  const Eigen::MatrixXd x = solve_least_norm(a, Eigen::Vector2d(2, 2));
  CHECK((x - Eigen::Vector2d(1, 1)).norm() < 1e-14);
  // Between 2 and 4 the nearest both can be is 3.
  CHECK((solve_least_norm(a, Eigen::Vector2d(2, 4)) - Eigen::Vector2d(1.5, 1.5)).norm() < 1e-14);
}

TEST_CASE("columns are completed to an orthogonal matrix") {
  Eigen::MatrixXd columns(4, 2);
  columns << 1, 0, 1, 1, 1, 2, 1, 3;
  const Eigen::MatrixXd q = orthogonal_completion(columns);
  REQUIRE(q.rows() == 4);
  REQUIRE(q.cols() == 4);
  CHECK((q.transpose() * q).isIdentity(1e-14));
  CHECK((q.rightCols(2).transpose() * columns).norm() < 1e-14);
}

}  // namespace
}  // namespace seamwright
