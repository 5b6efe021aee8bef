#pragma once

#include <vector>

#include "imaging/image.h"
#include "projection/conventions.h"

namespace seamwright {

/// A grey picture as a cubic B-spline that passes through its samples: twice differentiable, and
/// close enough to the ideal kernel that an alignment has no preference for whole pixels.
/// (Unser, Aldroubi, Eden 1993, IEEE Trans. Signal Processing 41:821–833; mirror boundaries.)
class SplinePlane {
 public:
  /// From a grey f32 image.
  explicit SplinePlane(const Image& grey);

  [[nodiscard]] int width() const { return width_; }
  [[nodiscard]] int height() const { return height_; }

  /// True where a sample needs no pixel beyond the border.
  [[nodiscard]] bool contains(const Vec2& px) const {
    return px.x() >= 2.5 && px.y() >= 2.5 && px.x() <= width_ - 2.5 && px.y() <= height_ - 2.5;
  }

  struct Sample {
    float value = 0;
    float du = 0;  ///< per pixel
    float dv = 0;
  };

  /// Value at a continuous pixel (conventions.h) inside `contains`.
  [[nodiscard]] float value(double u, double v) const;
  /// Value and gradient.
  [[nodiscard]] Sample sample(double u, double v) const;

  /// Correlation between two samples `lag_px` apart (one axis) of white pixel noise, averaged over
  /// where they fall between pixels. 1 at 0, symmetric, 0 beyond 4.
  [[nodiscard]] static double noise_correlation(double lag_px);

 private:
  int width_ = 0;
  int height_ = 0;
  std::vector<float> coefficients_;
};

}  // namespace seamwright
