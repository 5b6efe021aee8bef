#pragma once

// What the frames tell about colour once the geometry is known: lateral colour and vignetting of
// every lens, and how much brighter one lens is than another. One pass over the shots; frames are
// let go as soon as they are measured.

#include <span>
#include <string>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "features/frame_source.h"
#include "features/fringe.h"
#include "jobs/learning/photometric.h"
#include "projection/rig.h"
#include "projection/tie.h"

namespace seamwright {

struct ColourOptions {
  bool fringes = true;
  bool photometry = true;
  int fringe_shots = 24;  ///< at most so many, spread over the list; more add nothing
  FringeOptions fringe;
  PhotometricOptions photometric;
};

struct LensFringes {
  FringeFit red, blue;
};

struct ColourOutcome {
  std::vector<LensFringes> fringes;  ///< one a lens; empty for grey frames or when not asked for
  PhotometricFit photometry;         ///< no lenses when not asked for
  std::vector<std::string> notes;    ///< what could not be learned, and why
};

/// Measures the shots listed and writes what they support into `rig`; terms that they do not
/// support stay as they are, with a note. `ties` are trusted (inliers), their shots counted as the
/// source counts them; its frames are of the rig's size. Fails when frames cannot be read.
[[nodiscard]] Result<ColourOutcome> learn_colour(Rig& rig, std::span<const int> shots,
                                                 std::span<const Tie> ties, const FrameSource& load,
                                                 const ColourOptions& options,
                                                 const ProgressFn& progress = {});

}  // namespace seamwright
