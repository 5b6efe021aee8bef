#pragma once

#include <string>

#include <nlohmann/json_fwd.hpp>

#include "apps/cli/console.h"
#include "base/result.h"
#include "jobs/learning/learn.h"

namespace seamwright {

/// What was learned, for people. `terms` adds a line per term.
void tell_learned(const Console& console, const std::string& file, const LearnOutcome& outcome,
                  bool terms);

[[nodiscard]] nlohmann::json learned_as_json(const std::string& file, const LearnOutcome& outcome);

/// Where the shots stood, as JSON: format seamwright-map, version 1.
[[nodiscard]] Result<void> write_map(const std::string& file, const LearnOutcome& outcome);

}  // namespace seamwright
