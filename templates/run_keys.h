#pragma once

// The names in a run file, shared by its reader and its writer.

#include <array>
#include <string>
#include <string_view>
#include <vector>

namespace seamwright {

inline constexpr std::string_view kRunFormat = "seamwright-run";
/// Keys of RunLook.
inline constexpr std::array<std::string_view, 12> kLookKeys = {
    "width_px",    "seam",      "brighter_ev", "local",     "level",  "middle_deg",
    "compass_deg", "cover_deg", "plate",       "plate_deg", "anyway", "touch"};

}  // namespace seamwright
