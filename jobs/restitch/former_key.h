#pragma once

// What programs before this one wrote into their journals instead of shot_key_text(). It is only
// ever read: a panorama that was stitched then is not stitched again for nothing.

#include <string>
#include <vector>

#include "jobs/brackets/grouping.h"
#include "jobs/shot/shot_files.h"
#include "jobs/shot/shot_wishes.h"

namespace seamwright {

/// The texts that stood for this very panorama; none where those programs could not make it, which
/// is so for every wish that they did not know.
[[nodiscard]] std::vector<std::string> former_key_texts(const ShotFiles& files,
                                                        const ShotWishes& wishes,
                                                        const GroupingOptions& grouping, bool jpeg);

}  // namespace seamwright
