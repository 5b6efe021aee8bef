#include "templates/covariance_check.h"

#include <cmath>

#include <fmt/format.h>

#include "projection/dense_algebra.h"

namespace seamwright {

std::optional<std::string> why_no_covariance(const Eigen::MatrixXd& values) {
  // A covariance comes from the inverse of an ill-conditioned matrix; its correlations carry that
  // inverse's rounding. A correlation that is wrong by a typing slip misses by far more.
  constexpr double kRounding = 1e-9;
  const Eigen::Index size = values.rows();
  Eigen::VectorXd sigma(size);
  for (Eigen::Index i = 0; i < size; ++i) {
    if (!(values(i, i) >= 0)) return fmt::format("the variance in row {} is below 0", i + 1);
    sigma(i) = std::sqrt(values(i, i));
  }
  Eigen::MatrixXd correlation = Eigen::MatrixXd::Identity(size, size);
  for (Eigen::Index i = 0; i < size; ++i) {
    for (Eigen::Index j = 0; j < i; ++j) {
      const double scale = sigma(i) * sigma(j);
      if (scale == 0 && values(i, j) != 0) {
        return fmt::format("rows {} and {} covary, but one has no variance", i + 1, j + 1);
      }
      correlation(i, j) = scale == 0 ? 0.0 : values(i, j) / sigma(i) / sigma(j);
      if (!(std::abs(correlation(i, j)) <= 1.0 + kRounding)) {
        return fmt::format("the correlation of rows {} and {} is {:.6g}, beyond 1", i + 1, j + 1,
                           correlation(i, j));
      }
      correlation(j, i) = correlation(i, j);
    }
  }
  if (size == 0) return std::nullopt;
  const double least = eigenvalues_of_symmetric(correlation).minCoeff();
  if (!(least >= -kRounding * static_cast<double>(size))) {
    return fmt::format("is not positive definite (least eigenvalue of its correlations {:.3g})",
                       least);
  }
  return std::nullopt;
}

}  // namespace seamwright
