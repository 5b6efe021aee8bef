#pragma once

#include <functional>
#include <optional>
#include <span>
#include <string>

#include "projection/rig.h"
#include "projection/tie.h"

namespace seamwright::test {

/// How two-sight ties fare against the truth. At a depth edge a tie may stand on either surface:
/// the depths within 2 px are tried and the best counts.
struct TieCheck {
  int ties = 0;
  int outliers = 0;            ///< off by more than 2 px *and* 5 claimed sigmas; not in the rest
  double sideways_rms_px = 0;  ///< sideways component of b's pixel given a's
  double parallax_rms_px = 0;
  double sideways_chi2 = 0;  ///< mean of (error / claimed sigma)², per component; 1 is true
  double parallax_chi2 = 0;
  double chi2 = 0;         ///< mean of eᵀ Σ⁻¹ e / 2
  double chi2_median = 0;  ///< median of eᵀ Σ⁻¹ e over that of a χ² with 2 degrees (1.386)

  [[nodiscard]] std::string line() const;
};

/// Where lens b truly sees the point in the direction of pixel `px_a` of lens a that is as far away
/// as what lens a sees at `depth_px_a`.
using Partner = std::function<std::optional<Vec2>(int lens_a, int lens_b, const Vec2& px_a,
                                                  const Vec2& depth_px_a)>;

/// `rig` is the true one (it gives the ribbon's axes). `choose` says which ties count.
[[nodiscard]] TieCheck check_ties(std::span<const Tie> ties, const Rig& rig, const Partner& partner,
                                  const std::function<bool(std::size_t)>& choose = {});

}  // namespace seamwright::test
