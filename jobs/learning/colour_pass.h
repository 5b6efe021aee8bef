#pragma once

// What the frames tell about colour once the geometry is known: lateral colour and vignetting of
// every lens, and how much brighter one lens is than another. One pass over the shots; frames are
// let go as soon as they are measured.

#include <functional>
#include <span>
#include <string>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "features/fringe.h"
#include "imaging/image.h"
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

/// The frames of shot i, one a lens, of the rig's frame size.
using FrameLoader = std::function<Result<std::vector<Image>>(int shot)>;

/// Measures the shots listed and writes what they support into `rig`; terms that they do not
/// support stay as they are, with a note. `ties` are trusted (inliers), their shots counted as the
/// loader counts them. Fails when frames cannot be read.
[[nodiscard]] Result<ColourOutcome> learn_colour(Rig& rig, std::span<const int> shots,
                                                 std::span<const Tie> ties, const FrameLoader& load,
                                                 const ColourOptions& options,
                                                 const ProgressFn& progress = {});

}  // namespace seamwright
