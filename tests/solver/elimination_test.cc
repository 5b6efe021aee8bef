// The Schur complement of ties' points, against the formula as it stands.

#include "solver/elimination.h"

#include <numeric>

#include <Eigen/LU>
#include <catch2/catch.hpp>

#include "tests/support/random.h"

namespace seamwright {
namespace {

using test::Random;
using test::seed;

constexpr Eigen::Index kWidth = 9;

Eigen::MatrixXd random_matrix(Random& random, Eigen::Index rows, Eigen::Index columns) {
  return Eigen::MatrixXd::NullaryExpr(rows, columns, [&] { return random.normal(1); });
}

struct Sums {
  Reduced stacked{Eigen::MatrixXd::Zero(kWidth, kWidth), Eigen::VectorXd::Zero(kWidth)};
  Reduced expected = stacked;
};

// Many ties of so many sights, some of whose depths are known by themselves.
Sums sums_of(Random& random, int sights, int ties) {
  std::vector<int> columns(kWidth);
  std::iota(columns.begin(), columns.end(), 0);
  Sums sums;
  TieStack stack;
  for (int i = 0; i < ties; ++i) {
    TieRows rows;
    rows.by_columns = random_matrix(random, 2 * sights, kWidth);
    rows.by_point = random_matrix(random, 2 * sights, 3);
    rows.residual = random_matrix(random, 2 * sights, 1);
    Mat3 normal = rows.by_point.transpose() * rows.by_point;
    EliminatedPoint point;
    point.gradient = rows.by_point.transpose() * rows.residual;
    if (i % 3 == 0) {
      normal(2, 2) += 0.7;
      point.gradient[2] += 0.2;
    }
    stack.add(columns, rows, normal, point, sums.stacked);
    const Eigen::MatrixXd c = rows.by_point.transpose() * rows.by_columns;
    const Mat3 inverse = normal.inverse();
    sums.expected.normal += rows.by_columns.transpose() * rows.by_columns;
    sums.expected.normal -= c.transpose() * inverse * c;
    sums.expected.gradient += rows.by_columns.transpose() * rows.residual;
    sums.expected.gradient -= c.transpose() * inverse * point.gradient;
    CHECK((point.by_columns - c).norm() < 1e-12 * c.norm());
  }
  stack.flush(sums.stacked);
  return sums;
}

TEST_CASE("eliminated ties leave the Schur complement, whatever the number of their sights") {
  CAPTURE(seed());
  Random random(60);
  for (const int sights : {2, 3, 5, 70}) {
    CAPTURE(sights);
    const Sums sums = sums_of(random, sights, 100);
    const Eigen::MatrixXd off = sums.stacked.normal - sums.expected.normal;
    const Eigen::MatrixXd lower = off.triangularView<Eigen::Lower>();
    CHECK(lower.norm() < 1e-9 * sums.expected.normal.norm());
    CHECK((sums.stacked.gradient - sums.expected.gradient).norm() <
          1e-9 * sums.expected.gradient.norm());
  }
}

}  // namespace
}  // namespace seamwright
