#pragma once

#include <vector>

#include "base/result.h"
#include "imaging/frame.h"
#include "jobs/learning/learn.h"
#include "jobs/shot/shot_files.h"

namespace seamwright {

/// A shot as learning takes it: named after its files, their hashes taken now and their frames read
/// when they are asked for. Mirrored files are left as they are: learning flips all of them, and
/// records that it did.
[[nodiscard]] Result<LearnShot> shot_to_learn(ShotFiles files);

/// The frames of a shot as learning saw them: flipped where the body is mirrored. Empty where they
/// cannot be read any more.
[[nodiscard]] std::vector<Frame> frames_as_learned(const LearnShot& shot, bool mirrored);

}  // namespace seamwright
