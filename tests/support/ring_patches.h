#pragma once

// How much of a seam a person would call broken: patches of the ring around the pair's pole,
// compared with an ideal panorama from the rig's centre.
//
// A patch may stand elsewhere than in the ideal (depth moves things along η) and be stretched along
// η (the viewpoint slides through it), but must otherwise be the same picture: its score is the
// best normalised cross-correlation under one translation and one stretch. Both pictures are
// smoothed alike first, so that the lenses' resolution does not count.

#include <vector>

#include "imaging/image.h"
#include "projection/ribbon.h"

namespace seamwright::test {

struct RingPatchOptions {
  int ring_px = 4096;           ///< pixels around the whole ring
  int patch_px = 48;            ///< side of a patch
  int spacing_px = 24;          ///< between patches along the ring
  double eta_rad = 0.5 * kPi;   ///< colatitude of their centres
  int reach_parallax_px = 32;   ///< translations tried along η, to both sides, …
  int reach_sideways_px = 4;    ///< … and along ψ
  double smooth_px = 1.0;       ///< σ
  double least_texture = 0.03;  ///< standard deviation of the ideal patch's code values, white 1
  double broken = 0.85;
  double blemished = 0.93;
};

struct RingPatch {
  double psi_rad = 0;  ///< of its centre
  double score = 0;
  double shift_parallax_px = 0;
  double shift_sideways_px = 0;
  double stretch = 1;
};

struct RingPatches {
  int all = 0;                      ///< textured or not
  std::vector<RingPatch> textured;  ///< in order of ψ

  /// Share of textured patches that score below a limit; throws where there are none.
  [[nodiscard]] double share_below(double score) const;
};

/// `stitched` and `ideal` are full equirectangular panoramas, of any size and sample type, in the
/// rig's axes.
[[nodiscard]] RingPatches compare_ring(const Image& stitched, const Image& ideal,
                                       const RibbonAxes& axes,
                                       const RingPatchOptions& options = {});

}  // namespace seamwright::test
