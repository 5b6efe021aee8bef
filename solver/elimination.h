#pragma once

// The Schur complement on the ties' points, summed tie by tie.
//
// A tie's rows are A (by the columns it touches), B (by its point) and r. With N = BᵀB + what is
// known of the point = L Lᵀ and C = BᵀA, it leaves AᵀA − EᵀE with E = L⁻¹C. Two sights, which most
// ties are, leave little: AᵀA − EᵀE = Aᵀ(I − BN⁻¹Bᵀ)A, and of that 4 × 4 matrix two directions are
// (nearly) the point's alone. The other two make two rows instead of seven. Ties that touch the
// same columns, as all ring ties of one shot and pair do, are stacked, so that the products are
// those of tall matrices.

#include <vector>

#include <Eigen/Core>

#include "projection/conventions.h"

namespace seamwright {

/// The normal equations after the points' elimination, H δ = −g; the lower triangle counts.
struct Reduced {
  Eigen::MatrixXd normal;
  Eigen::VectorXd gradient;
};

/// A point that has left the normal equations, kept for back-substitution.
struct EliminatedPoint {
  Mat3 inverse = Mat3::Zero();
  Vec3 gradient = Vec3::Zero();
  Eigen::Matrix<double, 3, Eigen::Dynamic> by_columns;
};

using RowMatrix = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>;

/// The Jacobian of one tie, reused from tie to tie.
struct TieRows {
  RowMatrix by_columns;
  Eigen::Matrix<double, Eigen::Dynamic, 3> by_point;
  Eigen::VectorXd residual;
};

class TieStack {
 public:
  /// One more tie: fills `out`, whose gradient is Bᵀr and what is known of the point, and adds to
  /// `sum` now or at a later call. `columns` must outlive the stack.
  void add(const std::vector<int>& columns, const TieRows& rows, const Mat3& point_normal,
           EliminatedPoint& out, Reduced& sum);
  /// Adds what is still stacked.
  void flush(Reduced& sum);

 private:
  static constexpr Eigen::Index kHeight = 128;

  void begin(const std::vector<int>& columns);
  void add_pair(const TieRows& rows, const EliminatedPoint& point);

  const std::vector<int>* columns_ = nullptr;
  RowMatrix rows_;  // A, or what is left of it
  Eigen::Index filled_ = 0;
  RowMatrix eliminated_;  // E
  Eigen::Index eliminated_filled_ = 0;
  Eigen::VectorXd gradient_;
  Eigen::MatrixXd product_;
};

}  // namespace seamwright
