#pragma once

// What is left of a misfit between two warped views along their seam, seen by the pictures alone.
//
// Patches are laid along the seam. In each, the detail of both views (view_detail.h) is compared by
// normalised cross-correlation: how alike they are as they lie, and by which shift they would be
// most alike. The shift is the local maximum that a climb from no shift reaches, unless another
// place within reach is much better: repeated patterns do not lead astray. An edge looks the same
// wherever it is moved along itself, so a shift may be more than shows; how much of it does is told
// beside it. Patches without enough detail, or that both lenses show too little of, tell nothing
// and are left out.

#include <optional>
#include <vector>

#include "base/result.h"
#include "compose/seams/seam_path.h"
#include "compose/seams/seam_views.h"
#include "projection/conventions.h"

namespace seamwright {

/// Lengths in px of the views.
struct SeamResidualOptions {
  int patch_px = 48;           ///< side of a patch, at least 8
  int spacing_px = 24;         ///< between patches along the seam
  int reach_parallax_px = 8;   ///< shifts tried along the columns, …
  int reach_sideways_px = 4;   ///< … and along the rows
  double flat_px = 12;         ///< σ above which light is taken for shading
  double grain_px = 1;         ///< σ below which it is taken for grain
  double least_detail = 0.05;  ///< standard deviation of log light without which a patch is plain
  double least_shown = 0.4;    ///< share of a patch that both lenses must show
  double as_alike = 0.01;      ///< a loss of likeness that nobody sees
  double much_better = 0.05;   ///< of likeness: a maximum farther off is believed from here on

  [[nodiscard]] std::optional<Error> validate() const;
};

/// One textured patch.
struct SeamPatch {
  Vec2 middle_px = Vec2::Zero();  ///< continuous column and row
  double parallax_px = 0;         ///< lens b's picture lies this far down the columns from lens a's
  double sideways_px = 0;         ///< and this far along the rows
  double likeness = 0;            ///< correlation at that shift, −1…1
  double as_it_lies = 0;          ///< correlation without a shift
  double contrast = 0;            ///< standard deviation of log light, of the view with less of it

  double shows_px = 0;  ///< length of the least shift that makes them as alike

  [[nodiscard]] double px() const;
};

struct SeamResidual {
  int places = 0;                  ///< patches laid, telling or not
  std::vector<SeamPatch> patches;  ///< that tell, in the order of their columns
};

/// Fails on bad options, on views whose rasters do not fit, and on a path of another width.
[[nodiscard]] Result<SeamResidual> seam_residual(const SeamViews& views, const SeamPath& path,
                                                 const SeamResidualOptions& options = {});

}  // namespace seamwright
