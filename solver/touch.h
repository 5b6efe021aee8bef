#pragma once

// A light touch: one shot's few ties, with the body's template as prior.
//
// The rig x of one shot is the template's x_T, known to Σ_T, with every lens but the first turned a
// little by the body's flex. With the shot's ties t (their directions and depths eliminated) it is
// the minimum of
//
//     Σ_t ‖r_t(x)‖²  +  (x ⊖ x_T)ᵀ (Σ_T + s² F)⁻¹ (x ⊖ x_T)
//
// where F picks the rotation slots of every lens but the first and s is the spread of flex.
//
// How large s is. The template has learned s₀ from its own shots, often some hundredths of a
// degree. A body that was knocked has turned ten times as far, and a Gaussian of width s₀ would
// outvote the ties that say so. So s is chosen by the ties themselves. Linearised at the template,
// a tie without its point is z_t = A_t (x ⊖ x_T) + e with e ~ N(0, I), so that all of them have
// the marginal likelihood (empirical Bayes; MacKay 1992, "Bayesian interpolation")
//
//     z ~ N(0, C_s),  C_s = A (Σ_T + s² F) Aᵀ + I
//     L(s) = −½ log|C_s| − ½ zᵀ C_s⁻¹ z − κ (1 + 3/n) log(s / s₀)
//
// and s is the best of the ladder s₀, 2 s₀, 4 s₀ … 1°. Quiet ties fit s₀ and leave the template
// nearly alone; clear ones cannot be had without a wider s, and then move it. The last term says
// that knocks are the rarer the larger they are, and that few ties (n) are weak witnesses:
// without it a single tie of pure noise would move the whole ring one time in three.
//
// Wrong ties. A hand can point at the wrong place. Every subset W of the manual ties, at most half
// of them, is weighed as wrong, W's ties being drawn from N(0, 1 + w²) with w some tens of pixels
// and each costing log(ε / (1 − ε)); the best pair (s, W) wins. W is left out of the solve and
// named. It takes three ties to outvote one: with fewer, a disagreement is told and all are kept.
// Automatic ties leave by a robust fit of their own; the manual ones are then weighed against what
// the automatic ones say.
//
// What a tie tells. Its sideways part (ψ) fixes the turn about the ribbon's pole. Its parallax part
// (η) is depth, unless the tie is marked far or would stand behind infinity; only then it fixes a
// tilt, and two far ties a quarter of the ring apart fix both. Where no tie speaks, the prior does.

#include <span>
#include <string>
#include <vector>

#include <Eigen/Core>

#include "base/result.h"
#include "projection/tie.h"
#include "solver/seam_error.h"
#include "solver/solution.h"

namespace seamwright {

struct TouchOptions {
  /// Spread of flex for templates that have learned none, per axis.
  double default_flex_rad = rad_from_deg(0.03);
  double most_flex_rad = rad_from_deg(1.0);  ///< top of the ladder
  double knock_rarity = 0.5;                 ///< κ
  /// ρ of ties marked far: below 1/10 m, this as its spread.
  double far_sigma_per_m = 0.05;
  double depth_floor_sigma_per_m = 0.005;  ///< softness of "not behind infinity"
  double wrong_tie_share = 0.03;           ///< ε: of ties set by hand
  double wrong_tie_px = 25;                ///< how far off a wrong one is, 1σ
  /// Automatic ties leave beyond this, in robust sigmas.
  double reject_sigmas = 3.5;
  /// A touch that moves farther than this contradicts the template.
  double contradiction_sigmas = 4;
};

/// How a tie meets a rig. Pixels are native, between the lenses.
struct TieFit {
  /// η, between the lenses: for a far tie all of it, else the part that no depth explains.
  double parallax_px = 0;
  double sideways_px = 0;  ///< ψ: never explained by depth
  double sigmas = 0;       ///< root of the χ² of the tie's own disagreement
  double distance_m = 0;   ///< where it would stand; 0 at or beyond infinity (units of Rig)
};

struct TouchTie {
  TieFit before;
  TieFit after;
  double psi_rad = 0;  ///< azimuth on the pair's ribbon
  int lens_a = 0;      ///< of that ribbon
  int lens_b = 1;
  bool used = true;
  bool suspect = false;  ///< manual, and the others speak against it
  bool rival = false;    ///< nearly as likely the wrong one as the suspect
};

/// 1σ of the seam at one azimuth of one pair, mean over the overlap's width.
struct TouchSeam {
  int lens_a = 0;
  int lens_b = 1;
  double psi_rad = 0;
  double parallax_before_px = 0;
  double sideways_before_px = 0;
  double parallax_after_px = 0;
  double sideways_after_px = 0;
};

struct TouchResult {
  Rig rig;                         ///< SharedTerms::stepped(template's rig, step), exactly
  std::vector<std::string> names;  ///< of the step's terms, as TermCovariance::names
  Eigen::VectorXd step;
  TermCovariance covariance;    ///< of the touched rig's terms
  double learned_flex_rad = 0;  ///< s₀
  double flex_rad = 0;          ///< the chosen s
  double moved_sigmas = 0;      ///< √(stepᵀ (Σ_T + s₀² F)⁻¹ step)
  std::string worst_term;       ///< the term that moved farthest in its own sigmas
  double worst_term_sigmas = 0;
  SeamSummary seam_moved;   ///< by how much the touch moved the seam at infinity
  SeamSummary seam_before;  ///< expected error of the template in this shot, with the chosen s
  SeamSummary seam_after;   ///< expected error of the touched rig
  std::vector<TouchSeam> seam;
  std::vector<TouchTie> ties;  ///< one per tie
  bool contradicts_template = false;
  bool ties_disagree = false;         ///< manual ties contradict each other, too few to tell which
  std::vector<std::string> findings;  ///< what a person must look at, in words
  std::vector<std::string> advice;    ///< what one could add
};

/// `flex_sigma_rad` is the template's learned spread (0: none). Tie::shot is ignored. Without ties
/// the rig comes back unchanged. Fails when a manual tie cannot be seen where it was put, or has
/// one sight.
[[nodiscard]] Result<TouchResult> touch(const Rig& rig, const TermCovariance& covariance,
                                        double flex_sigma_rad, std::span<const Tie> ties,
                                        const TouchOptions& options = {});

}  // namespace seamwright
