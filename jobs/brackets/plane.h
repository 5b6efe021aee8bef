#pragma once

// One channel of numbers, and the few neighbourhood operations that merging needs.

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace seamwright {

template <class T>
struct Plane {
  Plane() = default;
  Plane(int width, int height, T value = T{})
      : width(width),
        height(height),
        values(static_cast<std::size_t>(width) * static_cast<std::size_t>(height), value) {}

  [[nodiscard]] std::span<T> row(int y) {
    return {values.data() + static_cast<std::size_t>(y) * static_cast<std::size_t>(width),
            static_cast<std::size_t>(width)};
  }
  [[nodiscard]] std::span<const T> row(int y) const {
    return {values.data() + static_cast<std::size_t>(y) * static_cast<std::size_t>(width),
            static_cast<std::size_t>(width)};
  }
  [[nodiscard]] T at(int x, int y) const { return row(y)[static_cast<std::size_t>(x)]; }

  int width = 0;
  int height = 0;
  std::vector<T> values;
};

using FloatPlane = Plane<float>;
using Mask = Plane<std::uint8_t>;  ///< 0 or 255, unless its owner says otherwise

/// Mean over (2·radius + 1)² pixels, those that lie inside.
[[nodiscard]] FloatPlane box_mean(const FloatPlane& plane, int radius);

/// Largest value over (2·radius + 1)² pixels.
[[nodiscard]] Mask grown(const Mask& mask, int radius);
[[nodiscard]] FloatPlane grown(const FloatPlane& plane, int radius);

/// Chessboard distance to the nearest set pixel, at most `limit`; 0 on set pixels.
[[nodiscard]] Mask distance_to(const Mask& mask, int limit);

}  // namespace seamwright
