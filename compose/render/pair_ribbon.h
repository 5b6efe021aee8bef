#pragma once

// The ribbons in which the pairs of a shot are joined, and frames no finer than these need.

#include <optional>
#include <span>
#include <vector>

#include "compose/render/seam_plan.h"
#include "imaging/frame.h"
#include "projection/ribbon.h"
#include "projection/rig.h"
#include "sampling/lens_map.h"
#include "sampling/lens_view.h"

namespace seamwright {

/// Two lenses and the ribbon in which they are joined.
struct PairRibbon {
  int a = 0;
  int b = 0;
  RibbonGrid grid;
  double coarser = 1;  ///< than the finer of both lenses, at least 1
};

/// Empty where there is nothing to gain. `maps`: of the rig's lenses.
[[nodiscard]] std::optional<PairRibbon> pair_ribbon(const Rig& rig,
                                                    const std::vector<LensMap>& maps, int a, int b,
                                                    const SeamOptions& options);

/// Frames no finer than the ribbons need, and the rig that fits them. Refers to the frames it was
/// made from.
struct RibbonFrames {
  Rig rig;
  std::vector<Image> shrunk = {};         ///< empty where the frames are as coarse already
  std::vector<const Image*> images = {};  ///< what to read
  std::vector<LensView> views = {};       ///< what to match
};

[[nodiscard]] RibbonFrames ribbon_frames(const Rig& rig, const std::vector<LensMap>& maps,
                                         std::span<const Frame> frames,
                                         const std::vector<PairRibbon>& pairs);

}  // namespace seamwright
