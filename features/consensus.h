#pragma once

// Robust consensus between the ties of one lens pair and a rig, tolerant of parallax.
//
// Through the current rig a tie gives one direction per lens. Their difference has a *sideways*
// part (ψ), which no depth can explain, and a *parallax* part (η), the disparity, which is
// between zero (infinity) and that of the nearest object. A small rotation of lens b and a common
// focal scale are sought that bring the sideways parts to zero and the parallax parts into that
// range; near objects are not outliers. What the parallax parts cannot tell apart (a disparity
// common to all ties against the focal scale) is settled by the lower envelope: the farthest ties
// are taken to be far, softly.

#include <cstdint>
#include <span>
#include <vector>

#include "features/pair_match.h"
#include "projection/rig.h"
#include "projection/tie.h"

namespace seamwright {

struct ConsensusOptions {
  double nearest_m = 0.3;         ///< nearest object (metric rigs), metres
  double nearest_baselines = 10;  ///< the same for rigs without a scale, in baselines
  double largest_rotation_rad = rad_from_deg(15);      ///< of lens b against the current rig
  double largest_focal_change = 0.12;                  ///< relative; 0 holds the focal length
  double sideways_tolerance_rad = rad_from_deg(0.35);  ///< inlier limit while searching
  double parallax_slack_rad = rad_from_deg(0.5);       ///< allowed beyond the disparity range
  double reject_mads = 5;  ///< final inliers lie within this many scaled MADs sideways
  double least_reject_rad = rad_from_deg(0.06);  ///< … but this much is always allowed
  int iterations = 400;
  std::uint64_t seed = 1;  ///< of the sampling; same seed, same result
};

struct ConsensusResult {
  Quat correction = Quat::Identity();  ///< new rig_from_lens of lens b = correction * old one
  double focal_scale = 1;              ///< new focal lengths of both lenses = scale × old ones
  std::vector<bool> inlier;            ///< one per given tie; ties of other pairs are false
  int inliers = 0;
  int candidates = 0;           ///< ties of the pair that the rig can see
  double sideways_mad_rad = 0;  ///< scaled (1.4826) MAD of the inliers' sideways residuals
};

/// Ties that have a sight in both lenses of the pair take part. With fewer than 4 of them nothing
/// is fitted and all are inliers.
[[nodiscard]] ConsensusResult consensus_of_pair(std::span<const Tie> ties, const Rig& rig,
                                                int lens_a, int lens_b,
                                                const ConsensusOptions& options = {});

/// The same of matches that were found on the ribbon of this very rig.
[[nodiscard]] ConsensusResult consensus_of_pair(std::span<const PairMatch> matches, const Rig& rig,
                                                int lens_a, int lens_b,
                                                const ConsensusOptions& options = {});

/// The rig with a pair's correction applied: lens b turned, the focal lengths of both scaled.
[[nodiscard]] Rig corrected(const Rig& rig, int lens_a, int lens_b, const ConsensusResult& result);

}  // namespace seamwright
