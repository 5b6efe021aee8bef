#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "compose/render/render.h"
#include "compose/render/seam_plan.h"

namespace seamwright {

/// Nearer to straight down than 12° the body looks at its own stand, which is covered or cropped.
[[nodiscard]] bool shows_stand(const Vec3& direction);

/// What is said where a seam cuts something that moved or is too near, and what to do there.
struct CutWords {
  std::string words;
  std::string remedy;
};
[[nodiscard]] CutWords cut_words(const PanoramaPlace& place, int lens_a, int lens_b);

/// What to do about a place that is torn.
inline constexpr std::string_view kTornRemedy =
    "look there; set two ties beside it with 'touch', or say in the shot file which lens to take";

/// Where the joined picture is torn (torn_places.h), worst first: directions in the body's axes.
[[nodiscard]] std::vector<Vec3> torn_directions(const SeamPlan& plan);

/// What a seam could not do as it was asked or as it should. `turn`: of the panorama against the
/// body's own axes, which a shot file's strokes are in. What is cut at the stand, or under a cover
/// of `cover_deg` around straight down, is a note.
void add_seam_findings(const SeamPlan& plan, const Quat& turn, double cover_deg,
                       std::vector<std::string>& findings, std::vector<std::string>& notes);

/// What the rendering could not do; `matched`: the lenses' brightness was to be matched.
[[nodiscard]] std::vector<std::string> findings_of(const RenderReport& report, bool matched);

}  // namespace seamwright
