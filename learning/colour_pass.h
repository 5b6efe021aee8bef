#pragma once

// What the frames tell about colour once the geometry is known: lateral colour of every lens. One
// pass over the shots; frames are let go as soon as they are measured.

#include <functional>
#include <span>
#include <string>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "features/fringe.h"
#include "imaging/image.h"
#include "projection/rig.h"

namespace seamwright {

struct ColourOptions {
  bool fringes = true;
  int fringe_shots = 24;  ///< at most so many, spread over the list; more add nothing
  FringeOptions fringe;
};

struct LensFringes {
  FringeFit red, blue;
};

struct ColourOutcome {
  std::vector<LensFringes> fringes;  ///< one a lens; empty when not asked for
  std::vector<std::string> notes;    ///< what could not be learned, and why
};

/// The frames of shot i, one a lens, of the rig's frame size.
using FrameLoader = std::function<Result<std::vector<Image>>(int shot)>;

/// Measures the shots listed and writes what they support into `rig`; terms that they do not
/// support stay as they are, with a note. Fails when frames cannot be read.
[[nodiscard]] Result<ColourOutcome> learn_colour(Rig& rig, std::span<const int> shots,
                                                 const FrameLoader& load,
                                                 const ColourOptions& options,
                                                 const ProgressFn& progress = {});

}  // namespace seamwright
