#pragma once

#include <string>
#include <vector>

#include "apps/cli/check_report.h"
#include "apps/cli/console.h"
#include "base/result.h"
#include "jobs/shot/shot.h"
#include "jobs/shot/shot_list.h"

namespace seamwright {

/// How one shot or panorama is checked.
struct CheckRunOptions {
  ShotCheckOptions check = {};
  bool pictures = false;               ///< take them of the places of findings
  std::vector<std::string> told = {};  ///< what the stitch said of the shot, if that is known
};

/// An opened shot, or why it could not be opened. What cannot be read is told in the answer and is
/// no failure; being told to stop is one.
[[nodiscard]] Result<Checked> check_opened(const std::string& name, const Result<Shot>& shot,
                                           const CheckRunOptions& options, const Console& console);
[[nodiscard]] Result<Checked> check_finished(const ListedShot& panorama, const Console& console);
[[nodiscard]] Checked failed_check(const std::string& name, const Error& error);

}  // namespace seamwright
