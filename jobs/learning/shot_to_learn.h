#pragma once

#include "base/result.h"
#include "jobs/learning/learn.h"
#include "jobs/shot/shot_files.h"

namespace seamwright {

/// A shot as learning takes it: named after its files, their hashes taken now and their frames read
/// when they are asked for. Mirrored files are left as they are: learning flips all of them, and
/// records that it did.
[[nodiscard]] Result<LearnShot> shot_to_learn(ShotFiles files);

}  // namespace seamwright
