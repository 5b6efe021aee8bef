#pragma once

// The adjustment's sum of squares in parts: ties of the same few shots, and straight edges.
//
// A part is one residual block of Ceres. Its points and normals leave (tie_rows.h, plumb_sight.h),
// and what remains of its thousands of rows is kept as a square matrix [J r] with the same normal
// matrix JᵀJ, gradient Jᵀr and cost ‖r‖²: all that a Gauss–Newton step asks for. Every part is
// computed by itself, in an order of its own, so that the number of threads does not show.

#include <span>
#include <vector>

#include "solver/adjust.h"
#include "solver/cell_noise.h"
#include "solver/plumb_sight.h"
#include "solver/rows.h"
#include "solver/tie_rows.h"

namespace seamwright {

class AdjustmentParts {
 public:
  struct Part {
    ColumnPlan columns;
    std::vector<std::size_t> ties{};
    std::vector<std::size_t> lines{};
    Eigen::Index height = 0;  // of all rows before they are packed
    Rows rows{};              ///< [J r]; only r where no derivatives were asked for
  };

  /// What the problem refers to, and the options, must outlive this. `points` are one a tie,
  /// `sizes` one a shot; points that are not usable take no part.
  AdjustmentParts(const AdjustProblem& problem, const AdjustOptions& options,
                  std::vector<TiePoint> points, std::span<const ShotSize> sizes);

  /// Fills the rows of every part. `tried`: the last call was for the same rig and shots.
  void evaluate(const Rig& rig, ShotStates shots, bool with_jacobian, bool tried);

  [[nodiscard]] const std::vector<Part>& parts() const { return parts_; }
  /// One a part: what shifts of cells do, at the rig and shots of the last evaluation with
  /// derivatives. Without lines, and without shots that stand alone beside a network: their ties
  /// claim by themselves what they are worth together.
  [[nodiscard]] std::vector<CellRows> cell_rows(const Rig& rig, ShotStates shots) const;
  /// Of the last evaluation with derivatives.
  [[nodiscard]] const std::vector<TiePoint>& points() const { return points_; }
  [[nodiscard]] const std::vector<Vec3>& line_normals() const { return normals_; }

 private:
  struct Prepared {
    DepthBelief depth;
    std::vector<Mat2> white;
  };
  // What an evaluation is of.
  struct Asked {
    const Rig& rig;
    SeeingLenses places;
    bool with_jacobian = false;
    bool tried = false;
  };
  class Stack;

  void add_part(const Part& part);
  [[nodiscard]] static std::vector<SeeingLens> places_of(const Tie& tie, const Rig& rig,
                                                         const SeeingLenses& places);
  [[nodiscard]] SeenTie seen_tie(std::size_t i, std::span<const SeeingLens> at) const;
  void evaluate(Part& part, const Asked& asked);
  void add_tie(std::size_t i, const Part& part, const Asked& asked, Stack& stack);
  void add_line(std::size_t i, const Part& part, const Asked& asked, Stack& stack);
  [[nodiscard]] CellRows cell_rows(const Part& part, const Rig& rig,
                                   const SeeingLenses& places) const;

  std::span<const Tie> ties_;
  const AdjustOptions& options_;
  double enough_;          // where a point has settled
  bool networks_ = false;  // whether any shots are joined
  std::vector<Prepared> prepared_;
  std::vector<SeenLine> lines_;
  std::vector<TiePoint> points_;  // as last accepted
  std::vector<TiePoint> tried_points_;
  std::vector<double> tried_costs_;  // of their ties
  std::vector<Vec3> normals_;
  std::vector<Vec3> tried_normals_;
  std::vector<Part> parts_;
};

}  // namespace seamwright
