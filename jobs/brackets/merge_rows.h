#pragma once

#include <span>
#include <vector>

#include "imaging/clipping.h"
#include "imaging/plane.h"
#include "jobs/brackets/exposed.h"
#include "jobs/brackets/moved_regions.h"
#include "jobs/brackets/noise_model.h"

namespace seamwright {

/// Everything known about the frames when the merge itself begins.
struct MergePlan {
  std::span<const Exposed> frames;      ///< rising exposure, aligned; 1.0 is the unit of the result
  std::span<const Mask> usable;         ///< of each frame
  const MovedRegions* moved = nullptr;  ///< null: nothing moved
  NoiseModel noise;
  double clip_level = clipping::kBracketLevel;
  bool black_is_cut = true;  ///< codes end at black, as unsigned ones do
};

/// The light of every pixel, float, in units of full code at exposure 1.
///
/// Each frame's signal over its exposure is an estimate of the light; they are averaged with
/// weights exposure² / variance, the best there is for independent errors of known variance
/// (Hasinoff, Durand, Freeman 2010; Granados et al. 2010, from memory, for the iteration). The
/// variance is taken at the light estimated from all frames together, twice over, never at the
/// pixel's own value, which would favour values that came out low. Where codes end at black, half
/// of the noise near it is cut off and the mean is too high by σφ(μ/σ) − μΦ(−μ/σ) (the mean of a
/// normal variable cut at zero, Tobin 1958, from memory); that is taken off again, so deep shadows
/// stay linear; single pixels may come out slightly below zero.
[[nodiscard]] Image merge_rows(const MergePlan& plan);

}  // namespace seamwright
