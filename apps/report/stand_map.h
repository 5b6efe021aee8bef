#pragma once

#include <span>
#include <string>

#include "jobs/learning/stands.h"

namespace seamwright::report {

/// The stands of every network of shots that tracks joined, seen from above, a map a network with
/// its caption. Shots that stand alone are on no map; empty when all do.
[[nodiscard]] std::string stand_map_figures(std::span<const Stand> stands);

}  // namespace seamwright::report
