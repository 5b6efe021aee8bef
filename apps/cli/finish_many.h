#pragma once

#include "apps/cli/console.h"
#include "apps/cli/finish_options.h"
#include "base/result.h"

namespace seamwright {

/// `finish` of many panoramas: runs, and tells how it goes.
[[nodiscard]] Result<Outcome> finish_many(const FinishOptions& options, const Console& console);

}  // namespace seamwright
