#pragma once

#include <array>
#include <cstdint>

namespace seamwright {

/// viridis (van der Walt and Smith 2015): perceptually even, safe for colour-blind eyes and grey
/// print. `share` 0 is dark, 1 yellow; red, green, blue of sRGB.
[[nodiscard]] std::array<std::uint8_t, 3> viridis(double share);

}  // namespace seamwright
