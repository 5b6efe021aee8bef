#pragma once

#include <string>
#include <vector>

#include "compose/render/render.h"
#include "compose/render/seam_plan.h"

namespace seamwright {

/// What a seam could not do as it was asked or as it should. `turn`: of the panorama against the
/// body's own axes, which a shot file's strokes are in.
void add_seam_findings(const SeamPlan& plan, const Quat& turn, std::vector<std::string>& findings);

/// What the rendering could not do; `matched`: the lenses' brightness was to be matched.
[[nodiscard]] std::vector<std::string> findings_of(const RenderReport& report, bool matched);

}  // namespace seamwright
