#pragma once

// A tie without its point: what it says of the rig and its shots alone.
//
// Two sights make four measurements of three unknowns of the point; what is left says something of
// the rig (sideways), and so does every belief in the point's depth, and all but the first of more
// sights. With rows [A by the rig, B by the point, r], those combinations are left that the point
// cannot change: QᵀA and Qᵀr with QᵀB = 0, at the point where sights and beliefs have it (variable
// projection: Golub & Pereyra 1973; Kaufman 1975). So points follow every trial of the rig, and no
// step is cut short by the curvature of their paths, nor by the floor under their depths.

#include <span>
#include <vector>

#include "solver/depth_belief.h"
#include "solver/rows.h"
#include "solver/sight.h"

namespace seamwright {

/// A tie under one rig and its shots.
struct SeenTie {
  const Tie& tie;
  const DepthBelief& depth;
  std::span<const SeeingLens> places;  ///< one a sight
  std::span<const Mat2> white;         ///< one a sight
  /// Of the loss into which the squares of all sights go together; 0: none. Where the tie's shot
  /// stands alone, what is believed of its depth goes into it as well: a wrong tie that seems to
  /// lie behind infinity is let go and pushes no angle. In a network belief stays outside: stands
  /// far from their places fit so badly that all points could leave for behind infinity.
  double robust_scale = 0;

  /// Rows of sights and beliefs.
  [[nodiscard]] int rows() const { return 2 * static_cast<int>(tie.sights.size()) + depth.count(); }
  /// How many the point leaves.
  [[nodiscard]] int left() const { return rows() - 3; }
};

/// When a point has settled.
struct SettleOptions {
  int most_steps = 5;
  double enough = 1e-8;    ///< a step that changes the sum of squares by less is the last
  bool free_depth = true;  ///< false holds the inverse depth where it is
};

/// Moves `point` to where the tie costs least; returns what it costs there.
double settle(const SeenTie& seen, TiePoint& point, const SettleOptions& options = {});

/// What a settled tie says: left() rows over the columns, Qᵀr in the last one. Under a loss, rows
/// have its weight: Jᵀr is the gradient, and their squares are less than the cost.
[[nodiscard]] Rows rows_of(const SeenTie& seen, const TiePoint& point, const ColumnPlan& columns);

/// The same with two more columns a sight behind the residual: what a shift of the sight by one px
/// of u, and of v, does to the rows.
[[nodiscard]] Rows rows_with_shifts(const SeenTie& seen, const TiePoint& point,
                                    const ColumnPlan& columns);

}  // namespace seamwright
