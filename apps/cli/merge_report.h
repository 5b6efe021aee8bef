#pragma once

#include <string>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "jobs/brackets/merge.h"

namespace seamwright {

/// Lines for people about one merged lens.
[[nodiscard]] std::vector<std::string> merge_lines(const MergeReport& report);
[[nodiscard]] nlohmann::json merge_json(const MergeReport& report);

}  // namespace seamwright
