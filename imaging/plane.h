#pragma once

// A raster of one number a pixel: what algorithms compute between pictures. Pictures themselves are
// Images, which know their channels and sample type.

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

  [[nodiscard]] std::span<T> row(int y) { return {line(y), static_cast<std::size_t>(width)}; }
  [[nodiscard]] std::span<const T> row(int y) const {
    return {line(y), static_cast<std::size_t>(width)};
  }
  /// The first value of a row, for inner loops.
  [[nodiscard]] T* line(int y) {
    return values.data() + static_cast<std::size_t>(y) * static_cast<std::size_t>(width);
  }
  [[nodiscard]] const T* line(int y) const {
    return values.data() + static_cast<std::size_t>(y) * static_cast<std::size_t>(width);
  }
  [[nodiscard]] T at(int x, int y) const { return row(y)[static_cast<std::size_t>(x)]; }

  int width = 0;
  int height = 0;
  std::vector<T> values;
};

using FloatPlane = Plane<float>;
using Mask = Plane<std::uint8_t>;  ///< 0 or 255, unless its owner says otherwise

}  // namespace seamwright
