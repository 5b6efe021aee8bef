#include "solver/symmetric.h"

#include <Eigen/Cholesky>

namespace seamwright {

Eigen::MatrixXd symmetric_inverse(const Eigen::MatrixXd& matrix, double grain) {
  constexpr double kSingular = 1e-14;
  constexpr double kLeastVariance = 1e-30;  // of a term held fixed: its information stays finite
  const Eigen::VectorXd scale =
      matrix.diagonal().cwiseMax(kLeastVariance).cwiseSqrt().cwiseInverse();
  Eigen::MatrixXd scaled = scale.asDiagonal() * matrix * scale.asDiagonal();
  scaled.diagonal().array() += grain;
  const Eigen::LDLT<Eigen::MatrixXd> factor(scaled);
  if (factor.info() != Eigen::Success) return {};
  if (grain <= 0 && !(factor.vectorD().minCoeff() > kSingular)) return {};
  Eigen::MatrixXd all = factor.solve(Eigen::MatrixXd::Identity(matrix.rows(), matrix.cols()));
  all = scale.asDiagonal() * all * scale.asDiagonal();
  return 0.5 * (all + all.transpose());
}

Eigen::MatrixXd symmetric_root(const Eigen::MatrixXd& matrix) {
  const Eigen::VectorXd scale = matrix.diagonal().cwiseMax(0).cwiseSqrt();
  const Eigen::VectorXd unscale = scale.unaryExpr([](double s) { return s > 0 ? 1 / s : 0.0; });
  Eigen::MatrixXd scaled = unscale.asDiagonal() * matrix * unscale.asDiagonal();
  Eigen::LLT<Eigen::MatrixXd> factor;
  // The grain carries columns that depend on each other.
  for (double grain = 1e-14; grain < 1; grain *= 10) {
    scaled.diagonal().array() += grain;
    factor.compute(scaled);
    if (factor.info() == Eigen::Success) break;
  }
  return Eigen::MatrixXd(factor.matrixU()) * scale.asDiagonal();
}

}  // namespace seamwright
