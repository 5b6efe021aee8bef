#pragma once

#include <optional>
#include <span>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "imaging/clipping.h"
#include "imaging/frame.h"
#include "jobs/brackets/alignment.h"
#include "jobs/brackets/noise_model.h"

namespace seamwright {

struct MergeOptions {
  /// Signal from which on a pixel counts as clipped, full code 1.0; 0.5…1. Lower it for files whose
  /// white lies below full code.
  double clip_level = clipping::kBracketLevel;
  /// Noise of the frames; measured in them where it is not given.
  std::optional<NoiseModel> noise = {};
  /// Exposure (as in `exposures`) at which full code becomes 1.0 in the result. The same for all
  /// lenses of a shot, so that they share one scale. 0: that of the reference.
  double unit_exposure = 0;
  bool align = true;             ///< the stand may have moved: shift and small turn
  bool refine_exposures = true;  ///< exposure ratios from the pixels; the reference keeps its own
  bool resolve_motion = true;    ///< one moment where something moved

  [[nodiscard]] std::optional<Error> validate() const;
};

/// What became of one frame.
struct MergedExposure {
  std::string file;
  double exposure = 1;                     ///< relative, as given
  double measured_ev = 0;                  ///< against the reference, as used
  double nominal_ev = 0;                   ///< against the reference, as given
  double sigma_ev = 0;                     ///< of `measured_ev`; 0 where the pixels told nothing
  std::optional<FrameMotion> motion = {};  ///< where the frame was moved onto the reference
  double clipped_share = 0;                ///< of its pixels
};

enum class NoiseSource {
  given,      ///< MergeOptions::noise
  fitted,     ///< from what differs between the frames
  one_frame,  ///< the frames were too few, or show too little, to be compared: from the reference
};

struct MergeReport {
  int reference = 0;  ///< index into `exposures`: whose moment, place and brightness are kept
  std::vector<MergedExposure> exposures;  ///< rising
  NoiseModel noise;
  NoiseSource noise_source = NoiseSource::one_frame;
  int moved_regions = 0;
  double moved_share = 0;    ///< of the picture
  double clipped_share = 0;  ///< clipped even in the shortest frame

  /// What a person should look at, in words.
  [[nodiscard]] std::vector<std::string> findings() const;
  /// What a person may want to know, in words: lamps that no exposure was short enough for.
  [[nodiscard]] std::vector<std::string> notes() const;
};

struct MergedFrame {
  Frame frame;  ///< float, linear; `info` is the reference's. 1.0 is full code at the unit exposure
  MergeReport report;
};

/// Merges exposures of one lens into one frame of linear light, in any order; equal exposures (a
/// burst) are averaged. Where all frames stand in order the steps are: align, measure exposures,
/// fit the noise, find what moved, average.
///
/// `exposures` are relative, one per frame (exposure.h). The reference is the first frame of the
/// middle step (of the lower one of two). Deterministic, whatever the number of threads. Fails on
/// fewer than two frames, frames of different size or kind or with alpha, exposures that are not
/// positive, and when more than 99 % of the shortest frame is clipped.
[[nodiscard]] Result<MergedFrame> merge_brackets(std::vector<Frame> frames,
                                                 const std::vector<double>& exposures,
                                                 const MergeOptions& options = {},
                                                 const ProgressFn& progress = {});

}  // namespace seamwright
