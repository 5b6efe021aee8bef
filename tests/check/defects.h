#pragma once

// Shots with something known to be wrong.

#include <string>
#include <string_view>
#include <vector>

#include "imaging/frame.h"
#include "templates/rig_template.h"
#include "tests/support/random.h"

namespace seamwright::test {

enum class Defect {
  none,
  knocked,  ///< lens 1 turned against the template
  swapped,  ///< lens 0's file is lens 1's
  mirrored,
  blurred,      ///< one lens
  overexposed,  ///< one lens, by a stop and a half and more
  veiled,       ///< light over one side of one lens' frame, warm
  other_shots,  ///< the lenses' frames are of two shots
  leaning,      ///< by some degrees
};
inline constexpr int kDefects = 9;
[[nodiscard]] std::string_view name_of(Defect defect);

struct SeededShot {
  RigTemplate body;  ///< as the shot is checked with
  std::vector<Frame> frames;
};

/// A shot with one defect, of 16-bit frames without. `other` is a shot of another place. A knock
/// turns the template by up to `most_knock_deg`.
[[nodiscard]] SeededShot with_defect(Defect defect, const RigTemplate& body,
                                     const std::vector<Frame>& frames,
                                     const std::vector<Frame>& other, double most_knock_deg,
                                     Random& random);

}  // namespace seamwright::test
