#pragma once

// Whitened rows of an adjustment, the residual in the last column.

#include <algorithm>
#include <vector>

#include <Eigen/Core>
#include <Eigen/Householder>

#include "solver/shared_terms.h"

namespace seamwright {

using Rows = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>;

/// How many unknowns a shot has of its own.
struct ShotSize {
  int flex = 0;
  int pose = 0;
  [[nodiscard]] int all() const { return flex + pose; }
};

/// The columns of one shot's unknowns; −1: held.
struct ShotColumns {
  int flex = -1;  ///< rotation vectors of lens 1, 2 and so on, rad
  int pose = -1;  ///< a rotation vector from the left (rad), then the position (m)
  int shot = -1;
};

/// What stands where: the free shared terms, then what belongs to some shots.
struct ColumnPlan {
  const SharedTerms& terms;
  std::vector<ShotColumns> shots{};
  int count = terms.columns();  ///< without the residual's

  [[nodiscard]] ShotColumns of(int shot) const {
    const auto found = std::find_if(shots.begin(), shots.end(),
                                    [&](const ShotColumns& one) { return one.shot == shot; });
    return found == shots.end() ? ShotColumns{} : *found;
  }
};

/// Those combinations of rows that unknowns with these derivatives cannot change: Householder's
/// reflections take `by_unknowns` to its first rows, and the others are left.
template <class ByUnknowns>
[[nodiscard]] Rows taken_out(ByUnknowns by_unknowns, Rows rows) {
  const Eigen::Index count = by_unknowns.cols();
  // A row of either: where nothing is free, the unknowns have more columns than the rows.
  Eigen::VectorXd workspace(std::max(rows.cols(), count));
  for (Eigen::Index k = 0; k < count; ++k) {
    double tau = 0;
    double beta = 0;
    const Eigen::Index below = rows.rows() - k;
    auto column = by_unknowns.col(k).tail(below);
    column.makeHouseholderInPlace(tau, beta);
    const auto essential = column.tail(below - 1);
    by_unknowns.block(k, k + 1, below, count - 1 - k)
        .applyHouseholderOnTheLeft(essential, tau, workspace.data());
    rows.bottomRows(below).applyHouseholderOnTheLeft(essential, tau, workspace.data());
  }
  return rows.bottomRows(rows.rows() - count);
}

}  // namespace seamwright
