#pragma once

// What is found out about a shot before it is rendered, so that near objects join at the seams: the
// dense depth in each pair's ribbon, the warp that follows from it, where the seam runs between the
// warped views, and the tones that blend them.

#include <optional>
#include <span>
#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "compose/render/gain.h"
#include "compose/seams/band_blend.h"
#include "compose/seams/ribbon_depth.h"
#include "compose/seams/seam_path.h"
#include "compose/seams/torn_places.h"
#include "compose/seams/view_warp.h"
#include "compose/seams/warp_polish.h"
#include "imaging/frame.h"
#include "projection/rig.h"
#include "projection/seam_stroke.h"
#include "projection/tie.h"

namespace seamwright {

struct SeamOptions {
  RibbonDepthOptions depth = {};
  SlideOptions slide = {};
  WarpPolishOptions polish = {};
  int calm_px = 600;      ///< moving subjects from this size on are read with the depth beside them
  int polish_rounds = 2;  ///< 0: the warp is as the depth says
  SeamPathOptions path = {};
  BandBlendOptions blend = {};
  bool gain_match = true;
  std::vector<SeamStroke> strokes = {};  ///< where a person wants the seams, and where not
  std::vector<Tie> ties = {};            ///< of this shot, set by hand: the depth is known there
  // The parts of a joined seam; each can be left out to see what it is worth.
  bool walk = true;         ///< the viewpoint walks; else the lenses are read as at infinity
  bool route = true;        ///< the seam finds its way; else it runs down the middle of the overlap
  bool join = true;         ///< tones are blended across; else the lenses meet as they are
  bool keep_views = false;  ///< for people who want to see what the seam was chosen from
};

/// One lens pair whose pictures meet.
struct PairSeam {
  int lens_a = 0;
  int lens_b = 1;
  ViewWarp warp;
  SeamPath path = {};
  std::vector<TornPlace> torn = {};  ///< what is left of it: where no lens shows what is joined
  std::optional<BandBlend> blend = {};
  std::optional<SeamViews> views = {};     ///< both lenses' views after the warp, if kept
  std::optional<SeamViews> unwarped = {};  ///< the same at infinity, if kept
};

/// Pairs in the order of their lenses. Empty: every lens is read as if all were far.
struct SeamPlan {
  std::vector<PairSeam> pairs;
  GainMatch gains;  ///< the lenses were compared with these
};

/// Pairs whose pupils coincide along the ribbon's pole, or that overlap too little to be matched,
/// are left out: they have nothing to gain. `frames` one per lens of `rig`, of its shape. Stage
/// told: "finding depth", "routing seams".
[[nodiscard]] Result<SeamPlan> plan_seams(const Rig& rig, std::span<const Frame> frames,
                                          const SeamOptions& options = {},
                                          const ProgressFn& progress = {});

}  // namespace seamwright
