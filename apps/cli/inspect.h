#pragma once

#include <string>
#include <vector>

#include "apps/cli/console.h"
#include "base/result.h"
#include "templates/rig_template.h"

namespace seamwright {

/// A template in a person's words, or as JSON.
[[nodiscard]] Result<Outcome> inspect_template(const std::string& file, const RigTemplate& value,
                                               const Console& console);

enum class PointDirection { unproject, project };

/// Reads points from stdin and prints them mapped, line by line.
[[nodiscard]] Result<Outcome> inspect_points(const Rig& rig, PointDirection direction,
                                             const Console& console);

/// What frame files hold, their image circles included.
[[nodiscard]] Result<Outcome> inspect_frames(const std::vector<std::string>& files,
                                             const Console& console);

}  // namespace seamwright
