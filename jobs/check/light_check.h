#pragma once

// Light and sharpness of a shot's frames, compared where two lenses show the same thing.

#include <optional>
#include <span>
#include <vector>

#include "base/result.h"
#include "compose/render/gain.h"
#include "features/ties.h"
#include "imaging/frame.h"
#include "projection/rig.h"

namespace seamwright {

/// What stays of a step of light and colour at one azimuth after the shot's gains and the
/// template's vignetting: that of a middle grey, CIEDE2000.
struct ColourStep {
  int lens_a = 0;
  int lens_b = 1;
  double psi_rad = 0;
  Vec3 direction = Vec3::UnitX();
  double delta_e = 0;
  int ties = 0;
};

/// How much less sharp lens b is than lens a, octaves, median over ties; negative: lens a is the
/// blurred one. Sharpness is the share of a 17 × 17 px patch's light variance that is finer than
/// 3 px, in both lenses around the same tie.
struct PairBlur {
  int lens_a = 0;
  int lens_b = 1;
  double octaves = 0;
  int ties = 0;  ///< of enough texture
};

struct LightCheck {
  std::vector<double> clipped_share;  ///< per lens, of the pixels inside its field
  std::vector<ColourStep> steps;      ///< sectors of 30° with at least six ties
  std::vector<PairBlur> blur;         ///< pairs with at least 20 ties of enough texture
};

/// `ties` of these frames, `rig` of their size.
[[nodiscard]] Result<LightCheck> check_light(const Rig& rig, std::span<const Frame> frames,
                                             const TieSet& ties);

}  // namespace seamwright
