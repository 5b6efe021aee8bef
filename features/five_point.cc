#include "features/five_point.h"

#include <cmath>
#include <complex>
#include <cstddef>

#include <Eigen/LU>

#include "projection/dense_algebra.h"

namespace seamwright {

namespace {

// Polynomials in x, y, z by total degree; monomials in the order that Stewénius' elimination wants.
using Powers = std::array<int, 3>;
constexpr std::array<Powers, 20> kMonomials = {
    {{3, 0, 0}, {2, 1, 0}, {1, 2, 0}, {0, 3, 0}, {2, 0, 1}, {1, 1, 1}, {0, 2, 1},
     {1, 0, 2}, {0, 1, 2}, {0, 0, 3}, {2, 0, 0}, {1, 1, 0}, {0, 2, 0}, {1, 0, 1},
     {0, 1, 1}, {0, 0, 2}, {1, 0, 0}, {0, 1, 0}, {0, 0, 1}, {0, 0, 0}}};
constexpr int kFirstQuadratic = 10;
constexpr int kFirstLinear = 16;

using Cubic = Eigen::Matrix<double, 20, 1>;

constexpr int index_of(const Powers& powers) {
  for (std::size_t i = 0; i < kMonomials.size(); ++i) {
    if (kMonomials[i] == powers) return static_cast<int>(i);
  }
  return -1;
}

// index of monomial i times monomial j, −1 beyond degree 3.
constexpr auto kProducts = [] {
  std::array<std::array<int, 20>, 20> table{};
  for (std::size_t i = 0; i < 20; ++i) {
    for (std::size_t j = 0; j < 20; ++j) {
      const Powers& a = kMonomials[i];
      const Powers& b = kMonomials[j];
      table[i][j] = index_of({a[0] + b[0], a[1] + b[1], a[2] + b[2]});
    }
  }
  return table;
}();

// `first_a`, `first_b`: where the monomials of each factor's degree begin.
Cubic product(const Cubic& a, int first_a, const Cubic& b, int first_b) {
  Cubic c = Cubic::Zero();
  for (int i = first_a; i < 20; ++i) {
    if (a[i] == 0) continue;
    for (int j = first_b; j < 20; ++j) {
      c[kProducts[static_cast<std::size_t>(i)][static_cast<std::size_t>(j)]] += a[i] * b[j];
    }
  }
  return c;
}

using PolynomialMatrix = std::array<std::array<Cubic, 3>, 3>;

// det E = 0 and 2 E Eᵀ E − trace(E Eᵀ) E = 0: ten cubics.
Eigen::Matrix<double, 10, 20> constraints(const PolynomialMatrix& e) {
  const auto quadratic = [&](const Cubic& a, const Cubic& b) {
    return product(a, kFirstLinear, b, kFirstLinear);
  };
  const auto cubic = [&](const Cubic& a, const Cubic& b) {
    return product(a, kFirstQuadratic, b, kFirstLinear);
  };
  PolynomialMatrix squared;  // E Eᵀ
  for (std::size_t i = 0; i < 3; ++i) {
    for (std::size_t j = 0; j < 3; ++j) {
      squared[i][j] =
          quadratic(e[i][0], e[j][0]) + quadratic(e[i][1], e[j][1]) + quadratic(e[i][2], e[j][2]);
    }
  }
  const Cubic trace = squared[0][0] + squared[1][1] + squared[2][2];
  for (std::size_t i = 0; i < 3; ++i) squared[i][i] -= 0.5 * trace;
  Eigen::Matrix<double, 10, 20> rows;
  int row = 0;
  for (std::size_t i = 0; i < 3; ++i) {
    for (std::size_t j = 0; j < 3; ++j) {
      rows.row(row++) = (cubic(squared[i][0], e[0][j]) + cubic(squared[i][1], e[1][j]) +
                         cubic(squared[i][2], e[2][j]))
                            .transpose();
    }
  }
  const auto minor = [&](std::size_t a, std::size_t b) {
    return Cubic(quadratic(e[1][a], e[2][b]) - quadratic(e[1][b], e[2][a]));
  };
  rows.row(row) =
      (cubic(minor(1, 2), e[0][0]) + cubic(minor(2, 0), e[0][1]) + cubic(minor(0, 1), e[0][2]))
          .transpose();
  return rows;
}

}  // namespace

std::vector<Mat3> essential_matrices(const std::array<BearingPair, 5>& pairs) {
  Eigen::Matrix<double, 9, 5> rows;
  for (int i = 0; i < 5; ++i) {
    const BearingPair& pair = pairs[static_cast<std::size_t>(i)];
    const Mat3 outer = pair.b * pair.a.transpose();
    rows.col(i) = Eigen::Map<const Eigen::Matrix<double, 9, 1>>(outer.data());
  }
  // The four directions that no pair speaks of.
  const Eigen::Matrix<double, 9, 9> q = orthogonal_completion(rows);
  std::array<Mat3, 4> basis;
  for (int k = 0; k < 4; ++k) {
    basis[static_cast<std::size_t>(k)] = Eigen::Map<const Mat3>(q.col(5 + k).data());
  }
  PolynomialMatrix e;
  for (int i = 0; i < 3; ++i) {
    for (int j = 0; j < 3; ++j) {
      Cubic& entry = e[static_cast<std::size_t>(i)][static_cast<std::size_t>(j)];
      entry.setZero();
      for (int k = 0; k < 4; ++k) {
        entry[kFirstLinear + k] = basis[static_cast<std::size_t>(k)](i, j);
      }
    }
  }
  const Eigen::Matrix<double, 10, 20> cubics = constraints(e);
  using Square = Eigen::Matrix<double, 10, 10>;
  const Square reduced = solve_square(cubics.leftCols<10>(), cubics.rightCols<10>());
  if (!reduced.allFinite()) return {};
  // Multiplication by x in the basis of the monomials of degree two and less.
  Square action = Square::Zero();
  action.row(0) = -reduced.row(0);
  action.row(1) = -reduced.row(1);
  action.row(2) = -reduced.row(2);
  action.row(3) = -reduced.row(4);
  action.row(4) = -reduced.row(5);
  action.row(5) = -reduced.row(7);
  action(6, 0) = 1;
  action(7, 1) = 1;
  action(8, 3) = 1;
  action(9, 6) = 1;
  const GeneralEigen eigen = eigen_of_square(action);
  if (!eigen.found) return {};
  std::vector<Mat3> found;
  for (int i = 0; i < 10; ++i) {
    if (std::abs(eigen.values[i].imag()) > 1e-8 * (1 + std::abs(eigen.values[i].real()))) continue;
    const Eigen::Vector4d xyz1 = eigen.vectors.col(i).tail<4>().real();
    const Mat3 sum =
        xyz1[0] * basis[0] + xyz1[1] * basis[1] + xyz1[2] * basis[2] + xyz1[3] * basis[3];
    const double norm = sum.norm();
    if (norm > 0 && std::isfinite(norm)) found.emplace_back(sum / norm);
  }
  return found;
}

std::array<RelativePose, 4> motions_of(const Mat3& essential) {
  const Svd3 svd = svd_of3(essential);
  Mat3 u = svd.u;
  Mat3 v = svd.v;
  if (u.determinant() < 0) u = -u;
  if (v.determinant() < 0) v = -v;
  Mat3 w;
  w << 0, -1, 0, 1, 0, 0, 0, 0, 1;
  const Quat one(Mat3(u * w * v.transpose()));
  const Quat other(Mat3(u * w.transpose() * v.transpose()));
  const Vec3 t = u.col(2);
  return {{{one, t}, {one, -t}, {other, t}, {other, -t}}};
}

}  // namespace seamwright
