#pragma once

// Which terms of a lens the data support: the others are better left at their nominal value.
//
// Backward elimination on the quadratic form of the solution: the group of terms whose deviation
// from nominal explains least, xᵀ Σ⁻¹ x (Wald), leaves while that is less than `penalty` a term,
// and the rest moves to its conditional optimum. 2 is Akaike's penalty (1974, IEEE Trans. Automatic
// Control 19:716–723). Focal length, centre, the first two radial terms, rotations and pupils
// always stay.

#include <vector>

#include <Eigen/Core>

#include "solver/shared_terms.h"

namespace seamwright {

struct TermSelection {
  std::vector<int> dropped;   ///< columns, ascending
  Eigen::VectorXd deviation;  ///< from nominal, of all columns; 0 where dropped
};

/// `deviation` from nominal and its `covariance`, columns as `terms`.
[[nodiscard]] TermSelection select_terms(const SharedTerms& terms, Eigen::VectorXd deviation,
                                         Eigen::MatrixXd covariance, double penalty = 2);

}  // namespace seamwright
