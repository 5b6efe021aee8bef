#pragma once

// The names in a run file, shared by its reader and its writer.

#include <array>
#include <string>
#include <string_view>
#include <vector>

namespace seamwright {

inline constexpr std::string_view kRunFormat = "seamwright-run";
/// Keys of RunLook.
inline constexpr std::array<std::string_view, 14> kLookKeys = {
    "width_px",   "seam",        "look",      "brighter_ev", "local",     "glow_removal", "level",
    "middle_deg", "compass_deg", "cover_deg", "plate",       "plate_deg", "anyway",       "touch"};

/// Keys of RunDisplayLook.
inline constexpr std::array<std::string_view, 4> kDisplayLookKeys = {"match", "room_ev", "cast_ev",
                                                                     "warmer_ev"};

}  // namespace seamwright
