#pragma once

#include <string>

#include "apps/cli/check_inputs.h"
#include "apps/cli/check_report.h"
#include "apps/cli/console.h"
#include "base/result.h"
#include "jobs/check/shot_check.h"

namespace seamwright {

/// How one shot or panorama is checked.
struct CheckRunOptions {
  std::string template_file = {};  ///< empty: the shot file names one
  ShotCheckOptions check = {};
  bool mirrored = false;    ///< the files hold mirrored pictures
  bool picture = false;     ///< take one of the worst place
  bool heeds_marks = true;  ///< the shot is levelled by the upright edges that its file marks
};

/// What cannot be read is told in the answer and is no failure; being told to stop is one.
[[nodiscard]] Result<Checked> check_input(const CheckInput& input, const CheckRunOptions& options,
                                          const Console& console);

}  // namespace seamwright
