#pragma once

// The names in a shot file, shared by its reader and its writer; each list is in the order of its
// enumeration.

#include <array>
#include <string_view>

#include "imaging/frame.h"
#include "projection/tie.h"

namespace seamwright {

inline constexpr std::string_view kShotFormat = "seamwright-shot";

inline constexpr std::array<std::string_view, 3> kLayoutNames = {"one-per-file", "side-by-side",
                                                                 "stacked"};
static_assert(static_cast<int>(FrameLayout::stacked) == 2);

inline constexpr std::array<std::string_view, 3> kRangeNames = {"open", "near", "far"};
static_assert(static_cast<int>(TieRange::far) == 2);

}  // namespace seamwright
