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

/// The noise that one frame shows by itself, for who has nothing to compare it with: blocks of 8 ×
/// 8 pixels through a mask that is blind to whatever is linear along rows or columns (Immerkær
/// 1996, "Fast noise variance estimation"). Texture can only raise a block's variance, so the lower
/// quartile over the blocks of one level counts, and a frame without smooth parts comes out too
/// noisy. Frames of fewer than 30 blocks, and those without any noise, are as rough as their codes:
/// a step has a twelfth of its square.
[[nodiscard]] NoiseModel noise_of_frame(const Exposed& frame, double clip_level);

}  // namespace seamwright
