#pragma once

// From the ties of one or many shots to a rig with its covariance.
//
// What one ring of ties can and cannot tell. For back-to-back lenses a tie has 4 measurements and
// 3 unknowns. Its sideways part (ψ) is left over: it fixes roll, the centres and the baseline's
// lateral terms. Its parallax part (η) is shared between its depth, the lenses' angular scale (an
// error gives the same disparity all around, just like a room of constant depth) and the relative
// tilt (a cosine around the ring, just like a room deeper on one side). Depths cannot be negative,
// which bounds scale and tilt from one side; a weak prior on inverse depth leans from the other, so
// that the farthest things seen decide. With something far all around in one shot the answer is
// good to that distance's parallax; in rooms alone it is off by about the parallax of the farthest
// wall, and the weak directions of the solution say so.
//
// Tracks break this: the same points seen from several stands of a room, by either lens, fix every
// term, and where the stands were with them. Where shots form such a network nothing is leaned on:
// a shot that stands alone beside it then adds its sideways parts and takes its depths as they
// come.
//
// Noise is learned as the solve goes: how much worse than they claim tracks, and the ring ties of
// each shot, are; how much sights share (cell_noise.h); and how much the body flexes from shot to
// shot. Terms that the data do not support end at their nominal values, but how unsure they are
// stays in the covariance.

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "projection/plumb_line.h"
#include "projection/tie.h"
#include "solver/adjust.h"
#include "solver/body_spread.h"
#include "solver/line_fit.h"
#include "solver/solution.h"

namespace seamwright {

struct LearnRigOptions {
  /// λ of the exponential prior on inverse depth, 1/m. A room is a few surfaces, not as many
  /// independent depths as it has ties: one shot's ties share this strength.
  double depth_lean_per_m = 0.1;
  /// Bodies stand upright, so the ring's lowest part looks at a floor; this is what tells a tilt
  /// between back-to-back lenses from a room deeper above than below. Height of the pupils above
  /// it, m, where somebody measured it; otherwise it may be anything that a stand or a hand can
  /// reach. Counts for shots that all stand alone.
  std::optional<double> stand_height_m{};
  double stand_height_share = 0.075;  ///< 1σ of a measured one: floors are not level
  double least_stand_height_m = 0.5;  ///< of one that nobody measured
  double most_stand_height_m = 3;     ///< likewise
  bool stands_on_floor = true;        ///< false for bodies that hang or fly
  /// Softness of "not behind infinity", for shots that all stand alone.
  double depth_floor_sigma_per_m = 0.005;
  double reject_sigmas = 4.0;  ///< ties worse than this leave
  int minimum_ties = 25;       ///< fewer usable ties than this is refused
  double flex_start_sigma_rad = rad_from_deg(0.03);
  std::span<const PlumbLine> lines = {};  ///< straight edges seen in any of the shots
};

struct LearnRigResult {
  RigSolution solution;
  SharedTerms terms{0, [](int, int) { return false; }};
  std::vector<TiePoint> points;                 ///< one per tie
  std::vector<char> inlier;                     ///< one per tie
  std::vector<std::string> held_at_nominal;     ///< terms that the data do not support
  std::vector<ShotState> shots;                 ///< flex is empty with a single shot
  std::vector<PoseCovariance> pose_covariance;  ///< as AdjustResult's
  LineQuality lines;                            ///< of the plumb lines, if there were any
  StopReason stop = StopReason::converged;
  int iterations = 0;
};

/// `start` is where the iteration begins; `prior` holds terms that the ties do not reach (columns
/// as all_rig_terms, or as all_rig_terms_and_travel to free the travel where shots form networks):
/// prior_of() for an unknown body, a template's inverse covariance for a known
/// one. `shots` holds where each shot stood, roughly, in its network. Fails when too few ties are
/// usable or when they leave a lens unconnected.
[[nodiscard]] Result<LearnRigResult> learn_rig(const Rig& start, const SharedPrior& prior,
                                               std::span<const Tie> ties,
                                               std::vector<ShotState> shots,
                                               const LearnRigOptions& options,
                                               const ProgressFn& progress = {});
/// The same for `shots` shots that stand alone.
[[nodiscard]] Result<LearnRigResult> learn_rig(const Rig& start, const SharedPrior& prior,
                                               std::span<const Tie> ties, int shots,
                                               const LearnRigOptions& options,
                                               const ProgressFn& progress = {});

/// The directions of term space that move the seam at infinity by more than `threshold_px` (1σ),
/// strongest first, in words.
[[nodiscard]] std::vector<WeakDirection> weak_directions(const Rig& rig, const SharedTerms& terms,
                                                         const Eigen::MatrixXd& covariance,
                                                         double threshold_px);

}  // namespace seamwright
