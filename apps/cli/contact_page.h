#pragma once

#include <string>

#include "base/progress.h"
#include "jobs/card/import_card.h"

namespace seamwright {

/// A page of all shots of an import, pictures inside: a thumbnail of each lens, time, steps, body
/// and what is odd. Pictures that cannot be read are left out.
[[nodiscard]] std::string contact_page(const ImportReport& report, const ProgressFn& progress);

}  // namespace seamwright
