#pragma once

#include <string>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "apps/cli/console.h"
#include "projection/tie.h"
#include "solver/touch.h"

namespace seamwright {

/// A touch and what it came of.
struct TouchReport {
  std::string shot_file;
  std::string template_file;
  std::vector<Tie> ties;   ///< the manual ones first
  std::size_t manual = 0;  ///< how many of them
  TouchResult result;
  double solve_ms = 0;
};

void tell_touch(const Console& console, const TouchReport& report);

[[nodiscard]] nlohmann::json touch_as_json(const TouchReport& report);

}  // namespace seamwright
