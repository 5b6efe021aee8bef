#pragma once

#include <Eigen/Core>

namespace seamwright {

/// Inverse of a symmetric positive definite matrix whose columns may differ by many powers of ten:
/// information from covariance, and back. Empty when it is singular. `grain` is added to the
/// diagonal once that is brought to 1, and carries matrices that are only semi-definite.
[[nodiscard]] Eigen::MatrixXd symmetric_inverse(const Eigen::MatrixXd& matrix, double grain = 0);

/// T with TᵀT = `matrix` + 1e-14 of its diagonal. `matrix` is positive semi-definite, or short of
/// it by rounding; only its lower half is read.
[[nodiscard]] Eigen::MatrixXd symmetric_root(const Eigen::MatrixXd& matrix);

}  // namespace seamwright
