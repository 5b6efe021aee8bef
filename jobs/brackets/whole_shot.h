#pragma once

#include <optional>
#include <vector>

#include "base/result.h"
#include "jobs/brackets/grouping.h"

namespace seamwright {

/// What most shots of a list have.
struct UsualShot {
  std::size_t lens_count = 0;
  std::vector<int> rhythm_tenths_ev;  ///< of each step above the darkest one of its series
};

/// `lens_count`: of the body, as GroupingOptions has it.
[[nodiscard]] UsualShot usual_shot(const std::vector<BracketShot>& shots, int lens_count);

/// Why a shot is not whole: it has another number of lenses or another series of exposures than
/// usual, or its lenses differ; says which frames there are beside what is missing. `frames`: the
/// list that its members are indices into; `step_ev`: exposures closer than this are one.
[[nodiscard]] std::optional<Error> check_whole(const std::vector<ListedFrame>& frames,
                                               const BracketShot& shot, const UsualShot& usual,
                                               double step_ev);

}  // namespace seamwright
