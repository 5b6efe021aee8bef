#pragma once

// The few neighbourhood operations on planes that merging needs.

#include "imaging/plane.h"

namespace seamwright {

/// Mean over (2·radius + 1)² pixels, those that lie inside.
[[nodiscard]] FloatPlane box_mean(const FloatPlane& plane, int radius);

/// Largest value over (2·radius + 1)² pixels.
[[nodiscard]] Mask grown(const Mask& mask, int radius);
[[nodiscard]] FloatPlane grown(const FloatPlane& plane, int radius);

/// Chessboard distance to the nearest set pixel, at most `limit`; 0 on set pixels.
[[nodiscard]] Mask distance_to(const Mask& mask, int limit);

}  // namespace seamwright
