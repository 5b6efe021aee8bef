#pragma once

// Plumb lines of a learn run: straight edges of some of the shots, found again whenever the rig is
// better.

#include <vector>

#include "base/progress.h"
#include "base/result.h"
#include "features/frame_source.h"
#include "features/plumb_lines.h"
#include "projection/rig.h"

namespace seamwright {

struct LinePassOptions {
  bool enabled = true;
  int most_shots = 12;  ///< searched, spread over the list
  /// Largest curvature of a line (PlumbLineOptions) once the rig comes from a solve.
  double solved_curvature_per_rad = 0.03;
  PlumbLineOptions lines;
};

/// Lines of the shots that a pass looks at. `frames` gives the frames of shot i, upright, one a
/// lens. `fine`: the rig comes from a solve already. Fails when frames cannot be read or `progress`
/// says stop.
[[nodiscard]] Result<std::vector<PlumbLine>> find_lines_of_shots(const std::vector<int>& shots,
                                                                 const FrameSource& frames,
                                                                 const Rig& rig, bool fine,
                                                                 const LinePassOptions& options,
                                                                 const ProgressFn& progress);

}  // namespace seamwright
