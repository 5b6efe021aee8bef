#pragma once

// Edits as JSON: the one form that the page sends and the journal keeps (docs/workbench-api.md).

#include <string_view>

#include <nlohmann/json.hpp>

#include "apps/workbench/edit.h"
#include "base/result.h"

namespace seamwright::workbench {

/// Numbers read back exactly.
[[nodiscard]] nlohmann::json as_json(const Edit& edit);
[[nodiscard]] nlohmann::json as_json(const ManualTie& tie);
[[nodiscard]] nlohmann::json as_json(const SeamStroke& stroke);
[[nodiscard]] nlohmann::json as_json(const UprightEdge& edge);

/// Strict: an unknown or missing key, or a value of another type, is refused by its name.
[[nodiscard]] Result<Edit> edit_of(const nlohmann::json& json);

/// Text that is no JSON gives nothing; never throws.
[[nodiscard]] Result<nlohmann::json> parsed(std::string_view text);

}  // namespace seamwright::workbench
