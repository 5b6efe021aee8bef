#pragma once

#include <optional>
#include <span>

#include "jobs/brackets/exposed.h"
#include "jobs/brackets/noise_model.h"

namespace seamwright {

/// The noise of frames that show the same (aligned) scene, measured where neighbours differ.
/// `frames` in rising exposure.
///
/// Scaled to one exposure, the difference of two frames holds no picture, only both noises. Each
/// block of 8 × 8 pixels gives a variance and a level; the median over the blocks of one level is
/// not moved by subjects that walk, and one line per channel goes through the levels. Blocks that
/// may be clipped, at white or at black, are left out. Empty when there are fewer than two frames,
/// or fewer than 3 levels with 30 blocks in any channel.
[[nodiscard]] std::optional<NoiseModel> fit_noise(std::span<const Exposed> frames,
                                                  double clip_level);

}  // namespace seamwright
