#pragma once

// One shot's touch as it is posed: what the template knows, what the ties say, and the prior that
// joins both. The steps of touch.cc are functions over it.

#include <cstddef>
#include <span>
#include <vector>

#include <Eigen/Core>

#include "solver/adjust.h"
#include "solver/shared_terms.h"
#include "solver/tie_fit.h"
#include "solver/touch.h"
#include "solver/touch_evidence.h"

namespace seamwright {

/// Carries a covariance that is only semi-definite.
inline constexpr double kCovarianceGrain = 1e-12;

/// Refers to the rig and the options it was posed with.
struct TouchProblem {
  const Rig& rig;  ///< the template's
  const TouchOptions& options;
  DepthKnowledge depth;
  SharedTerms terms;
  std::vector<Tie> ties;  ///< all of shot 0
  FlexLadder ladder;

  [[nodiscard]] bool is_manual(std::size_t tie) const {
    return ties[tie].origin == TieOrigin::manual;
  }
};

[[nodiscard]] TouchProblem pose_touch(const Rig& rig, const TermCovariance& covariance,
                                      double learned_flex_rad, std::span<const Tie> ties,
                                      const TouchOptions& options);

/// The rig that the ties with `use` ask for, if the body flexed by `flex_rad`. `robust_scale` 0:
/// squares.
[[nodiscard]] AdjustResult adjust_with(const TouchProblem& problem, double flex_rad,
                                       double robust_scale, const std::vector<char>& use);

/// A tie without its point, linearised at a rig.
[[nodiscard]] ReducedTie reduced(const TouchProblem& problem, const Rig& rig, std::size_t tie);

}  // namespace seamwright
