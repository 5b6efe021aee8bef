#include "projection/dense_algebra.h"

#include <Eigen/Eigenvalues>
#include <Eigen/LU>
#include <Eigen/QR>
#include <Eigen/SVD>

namespace seamwright {

SymmetricEigen eigen_of_symmetric(MatrixRef symmetric) {
  const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> solver(symmetric);
  return {solver.eigenvalues(), solver.eigenvectors(), solver.info() == Eigen::Success};
}

SymmetricEigen3 eigen_of_symmetric3(const Eigen::Matrix3d& symmetric) {
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> solver(symmetric);
  return {solver.eigenvalues(), solver.eigenvectors()};
}

Eigen::VectorXd eigenvalues_of_symmetric(MatrixRef symmetric) {
  return Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd>(symmetric, Eigen::EigenvaluesOnly)
      .eigenvalues();
}

Eigen::Vector2d eigenvalues_of_symmetric2(const Eigen::Matrix2d& symmetric) {
  return Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d>(symmetric, Eigen::EigenvaluesOnly)
      .eigenvalues();
}

SymmetricEigen eigen_of_pencil(MatrixRef a, MatrixRef b) {
  const Eigen::GeneralizedSelfAdjointEigenSolver<Eigen::MatrixXd> solver(a, b);
  return {solver.eigenvalues(), solver.eigenvectors(), solver.info() == Eigen::Success};
}

GeneralEigen eigen_of_square(MatrixRef square) {
  const Eigen::EigenSolver<Eigen::MatrixXd> solver(square);
  if (solver.info() != Eigen::Success) return {};
  return {solver.eigenvalues(), solver.eigenvectors(), true};
}

Svd3 svd_of3(const Eigen::Matrix3d& m) {
  const Eigen::JacobiSVD<Eigen::Matrix3d> solver(m, Eigen::ComputeFullU | Eigen::ComputeFullV);
  return {solver.matrixU(), solver.singularValues(), solver.matrixV()};
}

SymmetricFactor::SymmetricFactor(MatrixRef symmetric) : factor_(symmetric) {}

bool SymmetricFactor::found() const { return factor_.info() == Eigen::Success; }

bool SymmetricFactor::is_positive() const { return factor_.isPositive(); }

double SymmetricFactor::rcond() const { return factor_.rcond(); }

Eigen::MatrixXd SymmetricFactor::solve(MatrixRef right) const { return factor_.solve(right); }

Eigen::MatrixXd SymmetricFactor::inverse() const {
  return factor_.solve(Eigen::MatrixXd::Identity(factor_.rows(), factor_.cols()));
}

Eigen::MatrixXd solve_symmetric(MatrixRef a, MatrixRef right) {
  return SymmetricFactor(a).solve(right);
}

Eigen::MatrixXd solve_square(MatrixRef a, MatrixRef right) {
  return Eigen::PartialPivLU<Eigen::MatrixXd>(a).solve(right);
}

Eigen::MatrixXd solve_least_norm(MatrixRef a, MatrixRef right) {
  const SymmetricEigen eigen = eigen_of_symmetric(a.transpose() * a);
  const double least = 1e-14 * eigen.values.cwiseAbs().maxCoeff();
  const Eigen::VectorXd inverse =
      eigen.values.unaryExpr([&](double value) { return value > least ? 1 / value : 0.0; });
  const Eigen::MatrixXd by_vector = eigen.vectors.transpose() * (a.transpose() * right);
  return eigen.vectors * (inverse.asDiagonal() * by_vector);
}

std::optional<Eigen::MatrixXd> inverse_of(MatrixRef square) {
  const Eigen::FullPivLU<Eigen::MatrixXd> factor(square);
  if (!factor.isInvertible()) return std::nullopt;
  return factor.inverse();
}

Eigen::MatrixXd orthogonal_completion(MatrixRef columns) {
  return Eigen::HouseholderQR<Eigen::MatrixXd>(columns).householderQ();
}

}  // namespace seamwright
