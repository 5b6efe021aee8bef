#pragma once

#include <optional>

#include <Eigen/Cholesky>
#include <Eigen/Core>

namespace seamwright {

// Decompositions of small dense matrices, compiled once.
//
// Eigen's decompositions are templates: each source that names one compiles it again, for each size
// by itself, which takes seconds apiece. Sources of ours call these functions instead. Sizes are
// free; matrices hold doubles; "symmetric" reads the lower triangle. None of them throws; where
// there may be no answer, a flag or an empty optional says so. The results do not depend on the
// number of threads.

using MatrixRef = const Eigen::Ref<const Eigen::MatrixXd>&;

// Eigenvalues, rising, and their unit eigenvectors as columns in the same order.
struct SymmetricEigen {
  Eigen::VectorXd values;
  Eigen::MatrixXd vectors;
  bool found = false;  // false: the iteration did not end
};
[[nodiscard]] SymmetricEigen eigen_of_symmetric(MatrixRef symmetric);
// Of a 3 × 3 matrix, with vectors whose signs are those of Eigen's own 3 × 3 solver.
struct SymmetricEigen3 {
  Eigen::Vector3d values;
  Eigen::Matrix3d vectors;
};
[[nodiscard]] SymmetricEigen3 eigen_of_symmetric3(const Eigen::Matrix3d& symmetric);
[[nodiscard]] Eigen::VectorXd eigenvalues_of_symmetric(MatrixRef symmetric);
[[nodiscard]] Eigen::Vector2d eigenvalues_of_symmetric2(const Eigen::Matrix2d& symmetric);
// a x = λ b x with b positive definite; the vectors are normalised so that xᵀ b x = 1.
[[nodiscard]] SymmetricEigen eigen_of_pencil(MatrixRef a, MatrixRef b);

// Of any real square matrix: complex values in no order, vectors as columns.
struct GeneralEigen {
  Eigen::VectorXcd values;
  Eigen::MatrixXcd vectors;
  bool found = false;
};
[[nodiscard]] GeneralEigen eigen_of_square(MatrixRef square);

// m = u diag(values) vᵀ, u and v orthogonal, values falling.
struct Svd3 {
  Eigen::Matrix3d u;
  Eigen::Vector3d values;
  Eigen::Matrix3d v;
};
[[nodiscard]] Svd3 svd_of3(const Eigen::Matrix3d& m);

// The LDLᵀ factorisation of a symmetric matrix.
class SymmetricFactor {
 public:
  SymmetricFactor() = default;
  explicit SymmetricFactor(MatrixRef symmetric);

  [[nodiscard]] bool found() const;        // false: a pivot was zero or not a number
  [[nodiscard]] bool is_positive() const;  // no pivot below zero
  [[nodiscard]] double rcond() const;      // an estimate of 1 / condition
  [[nodiscard]] Eigen::MatrixXd solve(MatrixRef right) const;
  [[nodiscard]] Eigen::MatrixXd inverse() const;

 private:
  Eigen::LDLT<Eigen::MatrixXd> factor_;
};

// x of a x = right, a symmetric.
[[nodiscard]] Eigen::MatrixXd solve_symmetric(MatrixRef a, MatrixRef right);
// x of a x = right, a square.
[[nodiscard]] Eigen::MatrixXd solve_square(MatrixRef a, MatrixRef right);
// The x of least norm among those that make |a x − right| least. Solved by the normal equations:
// for small well-scaled systems; what is below 1e-7 of the largest singular value counts as zero.
[[nodiscard]] Eigen::MatrixXd solve_least_norm(MatrixRef a, MatrixRef right);
// Nothing where the matrix is singular to rounding.
[[nodiscard]] std::optional<Eigen::MatrixXd> inverse_of(MatrixRef square);
// An orthogonal square matrix whose first columns span those of `columns`.
[[nodiscard]] Eigen::MatrixXd orthogonal_completion(MatrixRef columns);

}  // namespace seamwright
