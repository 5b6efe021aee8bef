#pragma once

// Joint adjustment of a rig and its ties.
//
// A tie t has a direction d_t (2 unknowns on the sphere) and an inverse depth ρ_t. In shot s, lens
// i sees it at
//
//     u = π_i( R_iᵀ F_siᵀ (d_t − ρ_t p_i) )
//
// with R_i the mount, p_i the pupil and F_si a small rotation of lens i against its mount in that
// one shot: the body's flex (identity for lens 0). The cost is
//
//     Σ φ(‖Σ_u^(-1/2) (u − u_observed)‖²)            φ Cauchy, or none
//   + (x ⊖ x₀)ᵀ P (x ⊖ x₀)                           prior on the shared terms
//   + Σ ‖flex‖² / σ_flex²                             zero-mean prior on flex
//   + Σ 2ρ/λ + (min(0, ρ)/σ_0)² + w log(1 + ((ρ−m)/s)²)   depths: leaning far, none negative, as
//                                                     far as each is known
//
// minimised by Levenberg–Marquardt. Ties alone cannot tell scale: the distance of the first two
// pupils is held at its start value. Ties are eliminated one by one (Schur complement), which
// leaves a small dense system in the shared terms and flex; its inverse is their joint marginal
// covariance. See Triggs, McLauchlan, Hartley, Fitzgibbon 2000 for the structure. Lens Jacobians
// come from dual numbers through the one lens model in projection/, the rest is analytic.
//
// Deterministic: sums run in the order of the ties.

#include <optional>
#include <span>
#include <string_view>
#include <vector>

#include <Eigen/Core>

#include "base/progress.h"
#include "projection/tie.h"
#include "solver/shared_terms.h"

namespace seamwright {

/// What is known of one tie's inverse depth before any measurement: a Cauchy density, so that a tie
/// that stands elsewhere is let go.
struct DepthPrior {
  double mean_per_m = 0;
  double sigma_per_m = 1;
  double weight = 0;  ///< 0: nothing is known
};

struct AdjustOptions {
  int max_iterations = 50;
  double cost_tolerance = 1e-10;  ///< stop when a step lowers the cost by less than this share
  double robust_scale = 3.0;      ///< Cauchy scale in sigmas of a sight; 0 for plain least squares
  bool free_depth = true;         ///< false keeps every tie at infinity
  bool free_flex = false;         ///< per-shot rotation of every lens but the first
  double flex_sigma_rad = rad_from_deg(0.05);  ///< prior spread of flex, per axis
  /// λ of an exponential prior on ρ, 1/m: leans every tie away by the same force; 0 for none.
  double depth_lean_per_m = 0;
  std::vector<DepthPrior> depth_priors{};  ///< one per tie, or empty
  /// σ_0: how far below zero ρ may fall, 1/m; 0 for no bound.
  double depth_floor_sigma_per_m = 0;
  /// ρ below this is what a tie marked `far` means (10 m), with this as its spread.
  double far_sigma_per_m = 0.05;
};

/// Gaussian prior on the shared terms around a reference rig.
struct SharedPrior {
  Rig reference;
  Eigen::MatrixXd information;  ///< columns × columns, P above
};

/// The unknowns of one tie.
struct TiePoint {
  Vec3 direction = Vec3::UnitZ();  ///< unit, rig frame, from the rig's origin
  double inverse_depth = 0;        ///< 1/m
  bool usable = false;             ///< every sight can be unprojected, and so is the start
};

enum class StopReason { converged, iteration_limit, no_descent, cancelled };
[[nodiscard]] std::string_view stop_reason_text(StopReason reason);

struct AdjustResult {
  Rig rig;
  std::vector<TiePoint> points;         ///< one per tie, same order
  std::vector<std::vector<Vec3>> flex;  ///< [shot][lens] rotation vector, rad; empty if fixed
  StopReason stop = StopReason::converged;
  int iterations = 0;
  double initial_cost = 0;
  double final_cost = 0;
  /// Marginal covariance of the shared terms at the solution, columns × columns; empty when the
  /// normal equations are singular.
  Eigen::MatrixXd covariance;
  /// Sum of the flex' posterior variances per axis and lens, averaged over shots, rad².
  double flex_posterior_variance = 0;

  [[nodiscard]] bool usable() const {
    return stop != StopReason::cancelled && final_cost <= initial_cost;
  }
};

/// Where a tie would stand with this rig: direction and inverse depth by least squares over its
/// sights (ρ ≥ 0, or 0 with fixed depth). Not usable when a sight lies outside its lens.
[[nodiscard]] TiePoint locate_tie(const Rig& rig, const Tie& tie, bool free_depth);

/// `use[i]` false leaves tie i out (pass an empty span to use all). Ties that are not usable at
/// the start are left out too. `shots` is the number of shots that Tie::shot counts.
[[nodiscard]] AdjustResult adjust(const Rig& start, std::span<const Tie> ties, int shots,
                                  const SharedTerms& terms, const std::optional<SharedPrior>& prior,
                                  const AdjustOptions& options, std::span<const char> use = {},
                                  const ProgressFn& progress = {});

/// Residual of one sight, frame pixels (projected − observed); empty when it does not project.
[[nodiscard]] std::optional<Vec2> sight_residual_px(const Rig& rig, const Tie& tie,
                                                    std::size_t sight, const TiePoint& point,
                                                    std::span<const Vec3> flex_of_shot);

/// Sum of whitened squared residuals of a tie: χ² with 2·sights − 3 degrees of freedom.
[[nodiscard]] double tie_chi2(const Rig& rig, const Tie& tie, const TiePoint& point,
                              std::span<const Vec3> flex_of_shot);

}  // namespace seamwright
