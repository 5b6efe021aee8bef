#pragma once

// Are the frames of a shot mirrored?
//
// Let M = diag(−1, 1, 1) be the flip of a frame seen as a map of lens directions. Mirrored frames
// of a rig with rotations R_i show exactly what the rig with rotations M R_i M would show of the
// mirrored world: rotation vectors (x, y, z) become (x, −y, −z), pupils and principal points flip
// in x. A world alone does not tell left from right, so ties can reveal mirroring only as far as
// the rig differs from its own reflection:
//  - a ring of three or more lenses differs grossly: mirrored, neighbours sit on the wrong side;
//  - two lenses back to back are their own reflection nominally (a half turn about y): matches
//    around the ring are as many and as consistent either way, and nothing but the small terms of
//    the body's own template (tilts, roll, principal points) can tell.
// `asymmetry_px` says how far the rig is from its reflection; the verdict is `undecided` when that
// is below what the ties can resolve.

#include "base/result.h"
#include "features/ties.h"
#include "imaging/pictures.h"

namespace seamwright {

enum class MirrorVerdict { as_is, mirrored, undecided };

struct MirrorScore {
  int ties = 0;                ///< consistent with the rig as it stands
  double sideways_rms_px = 0;  ///< their misalignment, native px
};

struct MirrorReport {
  MirrorVerdict verdict = MirrorVerdict::undecided;
  MirrorScore as_is, flipped;
  double asymmetry_px = 0;  ///< RMS misalignment that mirroring this rig would cause, native px
};

/// Scores both hypotheses with the given rig held fixed (it must be known better than its own
/// asymmetry: a template, or a starter of three or more lenses).
[[nodiscard]] Result<MirrorReport> recognise_mirroring(const Pictures& frames, const Rig& rig,
                                                       const TieOptions& options = {});

/// The rig whose frames are those of `rig` flipped left to right.
[[nodiscard]] Rig mirrored(const Rig& rig);

}  // namespace seamwright
