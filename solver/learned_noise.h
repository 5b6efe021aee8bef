#pragma once

// How large noise and flex are, as a solution shows them.

#include <span>
#include <vector>

#include "projection/tie.h"
#include "solver/adjust.h"
#include "solver/inliers.h"

namespace seamwright {

/// Whether other shots than its own see the tie: it is a track then, else one of a ring.
[[nodiscard]] bool is_track(const Tie& tie);

/// How many times larger the noise of ties is than they claim. Ring ties and tracks are two kinds
/// of measurement; within a kind, a shot that was blurred or moved is less sure than the others.
class NoiseRatios {
 public:
  /// `fits` and `inlier` one a tie. A shot with fewer than 40 ring ties has the ratio of all.
  NoiseRatios(const std::vector<TieMisfit>& fits, std::span<const Tie> ties,
              std::span<const char> inlier, int shots);

  [[nodiscard]] double of(const Tie& tie) const {
    return is_track(tie) ? track_ : ring_[static_cast<std::size_t>(tie.shot)];
  }

 private:
  double track_ = 1;
  std::vector<double> ring_;
};

/// Flex of one axis, rad, 1σ: from each shot's flex and its posterior variance (one step of
/// expectation maximisation). A network measures all three axes. A ring measures only the flex
/// about the ribbon's pole apart from depth: there it stands for all three. `current_sigma_rad`
/// where fewer than three shots tell.
[[nodiscard]] double learned_flex_sigma(const AdjustResult& fit, double current_sigma_rad);

}  // namespace seamwright
