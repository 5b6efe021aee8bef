#pragma once

// A tie without its point: what it says of the rig's terms alone, linearised.

#include <Eigen/Core>

#include "projection/tie.h"
#include "solver/adjust.h"
#include "solver/shared_terms.h"

namespace seamwright {

/// z = residual + by_terms · step, whitened. One row for two sights of unknown depth (sideways),
/// one more where the depth is known.
struct ReducedTie {
  Eigen::VectorXd residual;
  Eigen::MatrixXd by_terms;  ///< rows × columns of the terms
};

/// How well a tie's inverse depth is known.
struct DepthKnowledge {
  double far_sigma_per_m = 0.05;     ///< of ties marked far, around 0
  double floor_sigma_per_m = 0.005;  ///< of ties that would stand behind infinity; 0: none
};

/// `point` is locate_tie(rig, tie, true) and usable.
[[nodiscard]] ReducedTie reduce_tie(const Rig& rig, const Tie& tie, const TiePoint& point,
                                    const SharedTerms& terms, const DepthKnowledge& depth);

}  // namespace seamwright
