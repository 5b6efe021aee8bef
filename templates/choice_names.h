#pragma once

// What files, options and the workbench's calls name by a word; each list is in the order of its
// enumeration (base/enum_names.h).

#include <array>
#include <string_view>

#include "imaging/frame.h"
#include "projection/seam_stroke.h"
#include "projection/tie.h"

namespace seamwright {

inline constexpr std::array<std::string_view, 3> kLayoutNames = {"one-per-file", "side-by-side",
                                                                 "stacked"};
static_assert(static_cast<int>(FrameLayout::stacked) == 2);

inline constexpr std::array<std::string_view, 3> kRangeNames = {"open", "near", "far"};
static_assert(static_cast<int>(TieRange::far) == 2);

inline constexpr std::array<std::string_view, 3> kWishNames = {"away", "here", "lens"};
static_assert(static_cast<int>(StrokeWish::lens) == 2);

}  // namespace seamwright
