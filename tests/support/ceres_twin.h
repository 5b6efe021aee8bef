#pragma once

// The problem of adjust.h posed once more, in Ceres Solver (Agarwal, Mierle et al.): the same ties,
// unknowns, start, prior and loss, but derivatives by dual numbers through the lens model, and
// manifolds, Schur elimination and trust region of Ceres' own. Two lenses, no pupil travel, no lean
// and no known depths (those are not sums of squares).
//
// Unknowns: 11 terms a lens; a rotation vector of lens 1 from the left of its mount, and its pupil
// on the sphere around lens 0's; a rotation vector of flex a shot, where free; rotation vector and
// place of every pose that is not its network's first; and of every tie two tangent steps of its
// direction and its inverse depth.

#include <memory>
#include <span>
#include <string>
#include <vector>

#include <Eigen/Core>

#include "solver/adjust.h"

namespace seamwright::test {

class CeresTwin {
 public:
  /// `prior` has the columns of all_rig_terms(2).
  CeresTwin(const Rig& start, std::span<const Tie> ties, const std::vector<ShotState>& shots,
            const SharedPrior& prior, const AdjustOptions& options);
  ~CeresTwin();
  CeresTwin(const CeresTwin&) = delete;
  CeresTwin& operator=(const CeresTwin&) = delete;

  [[nodiscard]] static std::string version();

  /// DENSE_SCHUR with the ties in the first elimination group, on one thread. Returns the number of
  /// steps, or −1 without a usable solution.
  int solve(double function_tolerance, int max_iterations);

  /// In the units of AdjustResult::final_cost, which has no factor ½.
  [[nodiscard]] double cost() const;
  [[nodiscard]] Rig rig() const;
  [[nodiscard]] std::vector<ShotState> shots() const;
  /// Of all_rig_terms(2) where the twin stands, by QR of the whole sparse Jacobian; exact for the
  /// rotation only at the twin's start, since it counts rotation vectors from there. Empty when
  /// Ceres gives none.
  [[nodiscard]] Eigen::MatrixXd covariance() const;

 private:
  class Problem;
  std::unique_ptr<Problem> problem_;
};

}  // namespace seamwright::test
