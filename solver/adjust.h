#pragma once

// Joint adjustment of a rig and its ties.
//
// A tie t has a direction d_t (2 unknowns on the sphere) and an inverse depth ρ_t. In shot s, lens
// i sees it at
//
//     u = π_i( R_iᵀ F_siᵀ (d_t − ρ_t p_i) )
//
// with R_i the mount, p_i the pupil and F_si a small rotation of lens i against its mount in that
// one shot: the body's flex (identity for lens 0). A track is a tie with sights in several shots:
// there (d, ρ) are taken to the rig frame of the sight's shot first, and where the shots stood
// relative to each other is unknown as well (sight.h). The cost is
//
//     Σ φ(Σ ‖Σ_u^(-1/2) (u − u_observed)‖²) + depth     over ties, φ Cauchy or none, over the
//                                                        sights of each; and what is believed of
//                                                        its depth, within φ for shots that stand
//                                                        alone (tie_rows.h):
//       depth = 2(ρ+c)/λ + (min(0, ρ−ρ_0)/σ_0)² + w log(1 + ((ρ−m)/s)²)
//                                                        leaning far, none negative, as far as is
//                                                        known
//   + Σ φ((distance of a plumb line's point from its great circle / σ)²)
//   + (x ⊖ x₀)ᵀ P (x ⊖ x₀)                               prior on the shared terms
//   + Σ ‖flex‖² / σ_flex²                                zero-mean prior on flex
//
// minimised by Ceres Solver (Agarwal, Mierle et al.; adjust.cc says how it is posed).
// Ties alone cannot tell scale: the distance of the first two pupils is held at its start value.
// The first shot of every network is its world. The joint marginal covariance of shared terms, flex
// and poses comes from Ceres' Jacobian at the end. Jacobians are analytic throughout.
//
// The same bytes for any number of threads: everything that Ceres asks for is computed before, each
// by itself, and Ceres adds on one thread.

#include <optional>
#include <span>
#include <string_view>
#include <vector>

#include <Eigen/Core>

#include "base/progress.h"
#include "projection/plumb_line.h"
#include "projection/tie.h"
#include "solver/shared_terms.h"
#include "solver/shot_state.h"
#include "solver/tie_point.h"

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
  double robust_scale = 3.0;  ///< Cauchy scale in sigmas of a sight, √n times that of n; 0: none
  bool with_covariance = true;  ///< false leaves all that tells certainty empty
  /// Noise that sights share widens the covariance (cell_noise.h).
  bool with_shared_noise = false;
  bool free_flex = false;                      ///< per-shot rotation of every lens but the first
  double flex_sigma_rad = rad_from_deg(0.05);  ///< prior spread of flex, per axis
  /// λ of an exponential prior on ρ, 1/m: leans every tie away by the same force; 0 for none.
  /// Only ties of shots that stand alone lean: a network knows its depths.
  double depth_lean_per_m = 0;
  std::vector<DepthPrior> depth_priors{};  ///< one per tie, or empty
  /// σ_0: how far below ρ_0 a depth may fall, 1/m; 0 for no bound.
  double depth_floor_sigma_per_m = 0;
  double depth_floor_per_m = 0;  ///< ρ_0: the farthest that anything can be
  /// ρ below this is what a tie marked `far` means (10 m), with this as its spread.
  double far_sigma_per_m = 0.05;
  /// Straight edges, each a great circle of its lens (plumb_sight.h). Must outlive the solve.
  std::span<const PlumbLine> lines{};
};

/// Gaussian prior on the shared terms around a reference rig.
struct SharedPrior {
  Rig reference;
  Eigen::MatrixXd information;  ///< columns × columns, P above
};

enum class StopReason { converged, iteration_limit, no_descent, cancelled };
[[nodiscard]] std::string_view stop_reason_text(StopReason reason);

/// Shifts that the sights of one part of a lens' field share (cell_noise.h), px of the frame, 1σ of
/// each coordinate.
struct SharedNoise {
  double in_a_shot_px = 0;     ///< drawn anew for every shot
  double in_all_shots_px = 0;  ///< the same in all
};

using PoseCovariance = Eigen::Matrix<double, 6, 6>;

struct AdjustResult {
  Rig rig;
  std::vector<TiePoint> points;    ///< one per tie, same order
  std::vector<Vec3> line_normals;  ///< of the lines' great circles, lens frame, one per line
  std::vector<ShotState> shots;    ///< flex (empty if fixed) and poses
  StopReason stop = StopReason::converged;
  int iterations = 0;
  double initial_cost = 0;
  double final_cost = 0;
  /// Marginal covariance of the shared terms at the solution, columns × columns; empty when the
  /// normal equations are singular, or it was not asked for.
  Eigen::MatrixXd covariance;
  SharedNoise shared_noise;  ///< zero unless it was asked for
  /// Posterior variance of every lens' flex about each axis, [shot][lens], rad²; empty if fixed.
  std::vector<std::vector<Vec3>> flex_variance;
  /// Per shot: rotation vector (rad), then position (m), in the network's world; zero for shots
  /// that stand alone and for the first of a network.
  std::vector<PoseCovariance> pose_covariance;

  [[nodiscard]] bool usable() const {
    return stop != StopReason::cancelled && final_cost <= initial_cost;
  }
};

/// What is adjusted to what. Refers to what it is made from.
struct AdjustProblem {
  const Rig& start;
  std::span<const Tie> ties;  ///< those that are not usable at the start are left out
  /// One per shot that ties count, with its start pose and, where flex is free, its start flex
  /// (empty: zero).
  std::vector<ShotState> shots;
  const SharedTerms& terms;
  const std::optional<SharedPrior>& prior;
  std::span<const char> use = {};  ///< 0 leaves a tie out; empty: all are used
};

[[nodiscard]] AdjustResult adjust(AdjustProblem problem, const AdjustOptions& options,
                                  const ProgressFn& progress = {});
/// The same for `shots` shots that stand alone.
[[nodiscard]] AdjustResult adjust(const Rig& start, std::span<const Tie> ties, int shots,
                                  const SharedTerms& terms, const std::optional<SharedPrior>& prior,
                                  const AdjustOptions& options);

}  // namespace seamwright
