#pragma once

// Shots of the rendered rooms: what falls on both sensors at a stand, and the files that hold it.

#include <array>
#include <string>
#include <vector>

#include "body.h"
#include "outside_program.h"
#include "ruler.h"

namespace independent {

using Words = std::vector<std::string>;

inline constexpr double kBright_ev = -0.2;  ///< of a good exposure of these rooms
inline constexpr double kFull_well = 15000;
inline const Words kNames = {"front", "back"};

/// `what` a render shows: lens0, lens1, ideal, depth.
[[nodiscard]] Picture render(int stand, const std::string& what);

[[nodiscard]] Room room_at(int stand);

/// What falls on both sensors at a stand; `turn_deg` of lens 1 beyond its mount.
[[nodiscard]] std::array<Picture, 2> lights(int stand, const Vector3d& turn_deg);

/// "2024:05:11 10:05:00", shots five minutes apart, frames of a bracket five seconds or less.
[[nodiscard]] std::string time_of(int stand, int second);

/// One 16-bit file a lens, in a folder that is made.
Words write_shot(const std::string& folder, const std::array<Picture, 2>& light, int stand);

/// Runs the program that is tested.
[[nodiscard]] Outcome run_seamwright(Words words);

/// Finished, perhaps with something said that a person should look at.
[[nodiscard]] bool done(const Outcome& outcome);

/// Learns the body from shots of two files each. Throws std::runtime_error with what was said.
void learn(const std::vector<Words>& shots, const std::string& template_file);

}  // namespace independent
