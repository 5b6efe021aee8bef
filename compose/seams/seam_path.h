#pragma once

// Where one lens' picture ends and the other's begins: a closed path through the ribbon.

#include <optional>
#include <vector>

#include "base/result.h"
#include "compose/seams/moving_subjects.h"
#include "compose/seams/seam_views.h"

namespace seamwright {

/// Prices, on a scale on which complete disagreement of a pixel costs 1. For rasters of about 200
/// to 700 px/rad.
struct SeamPathOptions {
  double disagree = 1.0;      ///< the views differ there, exposure apart
  double depth_edge = 0.6;    ///< passing along or over the edge of a surface
  double unsure = 0.15;       ///< depth that was filled, not measured
  double one_clipped = 0.4;   ///< clipped in one view only
  double hidden = 2.0;        ///< passing what one lens does not see
  double taken_hidden = 0.5;  ///< a pixel taken from the lens that does not see it
  double subject = 2.0;       ///< passing through a moving subject
  double forbidden = 50;      ///< per pixel
  double preferred = 0.3;     ///< subtracted where a person wants the seam; costs stay ≥ 0
  double middle = 0.04;       ///< at the border of the overlap, growing with the square from its
                              ///< middle: plain areas give a calm line
  double rim = 0.5;           ///< more of that in the outermost eighth of the overlap
  double step = 0.02;         ///< a row up or down between columns
  int most_step = 2;          ///< rows a column, 1…8
  double slack = 0.02;        ///< difference of cost that counts as none when the line is smoothed
  SubjectOptions subjects = {};

  [[nodiscard]] std::optional<Error> validate() const;
};

struct SeamPath {
  bool closed = false;
  std::vector<float> row_px = {};  ///< by column, at its centre: continuous row of the seam
  double cost = 0;                 ///< of the path before smoothing
  /// Columns in which the seam had to cross a forbidden region.
  int forbidden_columns = 0;
  std::vector<MovingSubject> subjects = {};  ///< whole where MovingSubject::taken says a or b
  Image subject_map = {};                    ///< grey u8: 1 inside a subject's outline

  /// Row at a continuous column; wraps if closed, else the ends go on level.
  [[nodiscard]] double row_at(double x_px) const;
  /// Share of lens a in a pixel `row_px` at `x_px`: 1 above the seam, 0 below, a smooth step of
  /// `feather_px` (full width) between.
  [[nodiscard]] double share_a(double x_px, double row_px, double feather_px) const;
};

/// The cheapest seam; closed exactly if the views are. Where costs tie the line is made smooth to
/// fractions of a pixel. Fails on bad options and on rasters that do not fit one another. The same
/// input gives the same path, whatever the number of threads.
[[nodiscard]] Result<SeamPath> seam_path(const SeamViews& views,
                                         const SeamPathOptions& options = {});

}  // namespace seamwright
