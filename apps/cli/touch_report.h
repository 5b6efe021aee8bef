#pragma once

#include <nlohmann/json_fwd.hpp>

#include "apps/cli/console.h"
#include "jobs/shot/touch_shot.h"

namespace seamwright {

void tell_touch(const Console& console, const TouchReport& report);

[[nodiscard]] nlohmann::json touch_as_json(const TouchReport& report);

}  // namespace seamwright
