#pragma once

#include <vector>

#include "tests/features/scene.h"
#include "tests/features/tie_check.h"
#include "tests/support/rigs.h"

namespace seamwright::test {

/// Frames of a synthetic room and what is true about them.
struct SyntheticShot {
  Rig rig;
  Scene scene;
  std::vector<Image> frames;

  [[nodiscard]] Partner truth() const;
};

/// Two lenses of a random body, 800 px frames, lens 1 a stop darker, in a textured room 4 × 2.6 × 6
/// m. Made once and kept.
[[nodiscard]] const SyntheticShot& room_shot();

/// The frames that a rig takes of a scene; each lens a stop darker than the one before.
[[nodiscard]] SyntheticShot photograph_all(const Rig& rig, const SceneOptions& scene,
                                           double noise = 0.002);

}  // namespace seamwright::test
