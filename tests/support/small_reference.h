#pragma once

// The adjustment of a few ties once more, by nothing that the solver uses: the forward model of
// projection/, derivatives by central differences, and all unknowns at once in dense normal
// equations of long double. For some dozens of ties: it takes the cube of their number.

#include <span>
#include <vector>

#include <Eigen/Core>

#include "solver/adjust.h"

namespace seamwright::test {

class SmallReference {
 public:
  using Vector = Eigen::Matrix<long double, Eigen::Dynamic, 1>;
  using Matrix = Eigen::Matrix<long double, Eigen::Dynamic, Eigen::Dynamic>;

  /// Starts at `points`, which are all usable. Two lenses; flex as `options` says; no lines. The
  /// problem's own prior is not looked at.
  SmallReference(const AdjustProblem& problem, const SharedPrior& prior,
                 std::vector<TiePoint> points, const AdjustOptions& options);

  /// Gauss–Newton with halved steps until nothing moves; returns the number of steps.
  int solve();

  /// In the units of AdjustResult::final_cost.
  [[nodiscard]] long double cost() const { return cost_of(state_); }
  [[nodiscard]] const Rig& rig() const { return state_.rig; }
  [[nodiscard]] const std::vector<ShotState>& shots() const { return state_.shots; }
  /// Of the shared terms, without the step along the baseline.
  [[nodiscard]] Eigen::MatrixXd covariance();
  [[nodiscard]] PoseCovariance pose_covariance(int shot);

 private:
  struct State {
    Rig rig;
    std::vector<ShotState> shots;
    std::vector<TiePoint> points;
  };

  [[nodiscard]] int unknowns() const;
  [[nodiscard]] State moved(const State& from, const Vector& step) const;
  [[nodiscard]] std::vector<Vec2> whitened(const State& state) const;  // sights, in order
  [[nodiscard]] long double cost_of(const State& state) const;
  [[nodiscard]] bool is_free(int shot) const;
  [[nodiscard]] int flex_at(int shot) const;
  [[nodiscard]] int pose_at(int shot) const;
  void normal_equations(Matrix& normal, Vector& gradient) const;
  [[nodiscard]] Matrix all_covariance();

  std::span<const Tie> ties_;
  const SharedTerms& terms_;
  const SharedPrior& prior_;
  const AdjustOptions& options_;
  State state_;
};

}  // namespace seamwright::test
