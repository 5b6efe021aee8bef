#pragma once

// From nothing but a nominal geometry to a rig that is right to a few pixels.

#include <optional>
#include <span>
#include <vector>

#include "base/result.h"
#include "features/image_circle.h"
#include "imaging/image.h"
#include "jobs/learning/learn.h"

namespace seamwright {

struct ColdStart {
  Rig rig;
  std::vector<std::optional<ImageCircle>> circles;  ///< one a lens
  int consensus_ties = 0;                           ///< consistent matches over all pairs and shots
};

/// `frames[shot][lens]`; all of one size. Fails when the starter does not fit the frames or when
/// no shot has enough consistent matches.
[[nodiscard]] Result<ColdStart> cold_start(std::span<const std::vector<Image>> frames,
                                           const LearnOptions& options);

/// The lens with its field of view ended where its image circle ends, short of the soft rim.
[[nodiscard]] Lens with_field_to_rim(Lens lens, double rim_radius_px);

}  // namespace seamwright
