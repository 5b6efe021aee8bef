#pragma once

// How much one shot may hold. The reader refuses more, so the writer, which reads back what it
// wrote, does too, and the workbench refuses the edit that would lead there. All of it at once is
// still below kYamlLimitBytes, which a test holds.

#include <cstddef>

namespace seamwright {

inline constexpr int kMostLensesOfShot = 8;
inline constexpr std::size_t kMostTiesOfShot = 1000;
inline constexpr double kMostTieSigma_px = 1000;  ///< more says nothing
inline constexpr std::size_t kMostStrokesOfShot = 500;
inline constexpr std::size_t kMostPlacesOfStroke = 2000;
/// Of all strokes together, 40 to 200 that are drawn by hand.
inline constexpr std::size_t kMostPlacesOfShot = 40'000;

}  // namespace seamwright
