#pragma once

// Gaussian smoothing in a ribbon. Columns wrap on a closed one, sums always run in the same order
// around a pixel: a rotated ribbon gives exactly the rotated result.

#include <vector>

namespace seamwright {

/// A raster of one float a pixel.
struct Plane {
  int width_px = 0;
  int height_px = 0;
  std::vector<float> value;

  Plane() = default;
  Plane(int width, int height, float fill = 0)
      : width_px(width),
        height_px(height),
        value(static_cast<std::size_t>(width) * static_cast<std::size_t>(height), fill) {}
  [[nodiscard]] float* row(int y) {
    return value.data() + static_cast<std::ptrdiff_t>(y) * width_px;
  }
  [[nodiscard]] const float* row(int y) const {
    return value.data() + static_cast<std::ptrdiff_t>(y) * width_px;
  }
};

/// Weighted sum with a Gaussian of `sigma_px`, cut at 3 σ, of sum 1; 0 beyond rows 0 … height and,
/// if not `closed`, beyond the columns.
[[nodiscard]] Plane blurred(const Plane& plane, double sigma_px, bool closed);

/// The same for one value a column; ends of an open line count with what they have.
[[nodiscard]] std::vector<float> blurred(const std::vector<float>& line, double sigma_px,
                                         bool closed);

}  // namespace seamwright
