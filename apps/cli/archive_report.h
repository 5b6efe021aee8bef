#pragma once

// What every command that works through an archive (jobs/archive/run.h) tells in the same way.

#include <nlohmann/json_fwd.hpp>

#include "apps/cli/console.h"
#include "jobs/archive/run.h"

namespace seamwright {

/// Damaged lines of the journal, and outputs that the disk no longer holds. `verify`: everything
/// was read already.
void tell_damage(const Console& console, const RunReport& report, bool verify);

/// Whether nothing failed, was found or is left to do; of a dry run what is to do is no matter.
[[nodiscard]] bool all_is_well(const RunReport& report, bool dry_run = false);
/// Findings where something is not well, an error where every item failed.
[[nodiscard]] Outcome outcome_of(const RunReport& report);

/// {"stopped", "damaged_lines", "read_again", "decayed", "left_behind"}; names as
/// base/readable_text.h spells them.
[[nodiscard]] nlohmann::json archive_json(const RunReport& report);
/// An array of {"name", "state", "why", "findings", "seconds"}.
[[nodiscard]] nlohmann::json items_json(const RunReport& report, const Console& console);

}  // namespace seamwright
