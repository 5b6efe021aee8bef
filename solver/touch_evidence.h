#pragma once

// How far a shot's ties say that the body has flexed, and which of them are wrong: the choice of
// (s, W) of touch.h, in the linearised model.

#include <vector>

#include <Eigen/Core>

#include "solver/reduced_tie.h"

namespace seamwright {

/// Prior on the terms: Σ_T + s² F for every s of a ladder.
struct FlexLadder {
  Eigen::MatrixXd covariance;      ///< Σ_T
  std::vector<int> rotations;      ///< columns that F picks
  std::vector<double> sigmas_rad;  ///< s, the learned one first

  [[nodiscard]] Eigen::MatrixXd prior(double sigma_rad) const;
};

/// A manual tie, and how its pixels would scatter if it were wrong.
struct WeighedTie {
  ReducedTie reduced;
  double wrong_sigmas = 50;  ///< w, in its own sigmas
};

struct EvidenceOptions {
  double knock_rarity = 0.5;
  double wrong_tie_share = 0.03;
  int most_wrong = 0;  ///< largest |W|
};

struct Evidence {
  double flex_rad = 0;
  std::vector<char> wrong;  ///< one per manual tie
  double log_likelihood = 0;
  /// The next best W that is neither part of the chosen one nor holds it, and by how much it falls
  /// behind; empty where nothing was thought wrong.
  std::vector<char> rival;
  double rival_behind = 0;
};

/// `automatic` are counted as right. Cost: one factorisation a step of the ladder for the automatic
/// ties, and one of the size of the manual ties' rows a step and subset.
[[nodiscard]] Evidence weigh(const FlexLadder& ladder, const std::vector<WeighedTie>& manual,
                             const std::vector<ReducedTie>& automatic,
                             const EvidenceOptions& options);

}  // namespace seamwright
