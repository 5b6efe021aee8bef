#pragma once

// Automatic ties: the same scene point found in two lenses of one shot, refined to sub-pixel, with
// a covariance that is meant to be true.
//
// For every lens pair that overlaps: strips of both lenses through the given rig, SIFT on the
// normalised strips (upright: ribbons are aligned), candidates gated sideways by the trust in the
// rig and in parallax by the disparity range, mutual best and distinct against every other place in
// the gate (repeated patterns are dropped rather than mismatched), consensus, refinement, then
// edges where corners are missing, and an even spread over the ribbon.

#include <optional>
#include <vector>

#include "base/result.h"
#include "features/consensus.h"
#include "features/refine.h"
#include "imaging/pictures.h"
#include "projection/rig.h"
#include "projection/tie.h"

namespace seamwright {

struct TieOptions {
  /// How far a match may lie sideways: the rig's error there. Wide on a cold start.
  double sideways_gate_rad = rad_from_deg(0.7);
  /// Allowed beyond the disparity range on either side, for the rig's error in parallax.
  double parallax_slack_rad = rad_from_deg(0.7);
  double nearest_m = 0.3;                 ///< nearest object, metres (metric rigs)
  double nearest_baselines = 10;          ///< the same for rigs without a scale
  double margin_rad = rad_from_deg(0.3);  ///< kept free at the rim of the fields of view
  /// Strips reach this far beyond the overlap. Each field ends the overlap where the rig believes
  /// it to end; with a focal length a tenth too long, two fields of 220° share but 4° of what they
  /// see where their ribbon of 17° is cut.
  double reach_rad = 0;
  double max_ratio = 0.8;  ///< distance to the best over that to the best elsewhere in the gate
  int max_ties_per_pair = 400;
  int cells_psi = 36;     ///< grid of the even spread around the ring …
  int cells_eta = 4;      ///< … and across it
  bool refined = true;    ///< false: descriptor positions (0.5 px), for a cold start's consensus
  bool edge_ties = true;  ///< fill cells without corners with edges (refined ties only)
  RefineOptions refine;
  ConsensusOptions consensus;  ///< nearest_* and parallax_slack_rad are taken from above

  [[nodiscard]] std::optional<Error> validate() const;

  /// Gates for a body that was knocked by up to a degree; more is another body, or another order of
  /// the frames.
  [[nodiscard]] static TieOptions of_knocked_body();
  /// Gates for a rig that may be wrong by `rotation_rad` and by a share of its focal length; not
  /// refined, no edges.
  [[nodiscard]] static TieOptions cold_start(double rotation_rad = rad_from_deg(8),
                                             double focal_share = 0.06);
};

/// What one tie looked like; parallel to TieSet::ties.
struct TieDetail {
  int lens_a = 0;
  int lens_b = 1;
  double psi_rad = 0;  ///< where it is on the pair's ribbon
  double eta_rad = 0;
  double sideways_rad = 0;  ///< (ψ_b − ψ_a) sin η: misalignment under the given rig
  double parallax_rad = 0;  ///< η_a − η_b: disparity under the given rig
  double ncc = 0;           ///< correlation of the aligned patches; 0 when not refined
  bool edge = false;        ///< from an edge: constrains across itself only
};

/// How one lens pair went.
struct PairTieReport {
  int lens_a = 0;
  int lens_b = 1;
  int detected[2] = {0, 0};   ///< key points in the strips
  int matched = 0;            ///< mutual and distinct
  int consistent = 0;         ///< of those, inliers of the consensus
  int refined = 0;            ///< of those, aligned to sub-pixel
  int edges = 0;              ///< edge ties that were added
  int kept = 0;               ///< after the even spread
  ConsensusResult consensus;  ///< `inlier` is left empty
  /// Azimuths ψ (degrees, centre of the sector) where the overlap has no tie; each sector is
  /// 360 / cells_psi wide.
  std::vector<double> empty_sectors_deg;
};

struct TieReport {
  std::vector<PairTieReport> pairs;

  [[nodiscard]] int matched() const;
  [[nodiscard]] int consistent() const;
  [[nodiscard]] int kept() const;
};

struct TieSet {
  static constexpr int kFewest = 12;  ///< ties of a shot whose frames fit together

  std::vector<Tie> ties;
  std::vector<TieDetail> details;
  TieReport report;

  /// Enough ties, of matches that mostly agree: else the frames are of several shots, out of order,
  /// or of another body.
  [[nodiscard]] bool fit_together() const;
};

/// Ties of one shot. One frame a lens, any sample type and channels, of the rig's frame size. A
/// shot without texture gives an empty set, not an error; fails on options out of range and on a
/// wrong frame count or size.
[[nodiscard]] Result<TieSet> find_ties(const Pictures& frames, const Rig& rig, int shot,
                                       const TieOptions& options = {});

}  // namespace seamwright
