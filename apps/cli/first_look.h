#pragma once

#include "apps/report/first_look.h"
#include "jobs/learning/learn.h"

namespace seamwright {

/// The first shot that counted, through its new template: a small panorama and a look along each
/// lens. Empty where its frames cannot be read any more.
[[nodiscard]] FirstLook first_look(const std::vector<LearnShot>& shots,
                                   const LearnOutcome& outcome);

}  // namespace seamwright
