#pragma once

#include <optional>
#include <string>

#include <Eigen/Core>

namespace seamwright {

/// What keeps a symmetric matrix from being a covariance, in a person's words; empty when it is
/// one. Terms differ by ten orders of magnitude (radial_4 beside a principal point in pixels), so
/// the test is made on the correlations: positive semi-definite within rounding.
[[nodiscard]] std::optional<std::string> why_no_covariance(const Eigen::MatrixXd& values);

}  // namespace seamwright
