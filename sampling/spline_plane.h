#pragma once

#include <vector>

#include "imaging/image.h"
#include "projection/conventions.h"

namespace seamwright {

/// A grey picture as a cubic B-spline through its samples: twice differentiable, and close enough
/// to the ideal kernel that an alignment has no preference for whole pixels (Unser, Aldroubi, Eden
/// 1993, IEEE Trans. Signal Processing 41:821–833; mirror boundaries). A little blur before keeps
/// noise and aliasing near the sampling limit from outweighing texture; a coarser level keeps every
/// `step`-th pixel of a stronger blur. Coordinates are always pixels of the full picture.
class SplinePlane {
 public:
  /// From a grey f32 image: Gaussian blur of `blur_px`, then every `step`-th pixel.
  SplinePlane(const Image& grey, double blur_px, int step = 1);

  [[nodiscard]] int step() const { return step_; }

  /// True where a sample needs no pixel beyond the border.
  [[nodiscard]] bool contains(const Vec2& px) const {
    const double x = plane_px(px.x());
    const double y = plane_px(px.y());
    return x >= 2 && y >= 2 && x <= width_ - 3 && y <= height_ - 3;
  }

  struct Sample {
    float value = 0;
    float du = 0;  ///< per pixel of the full picture
    float dv = 0;
  };

  /// Value at a continuous pixel (conventions.h) inside `contains`.
  [[nodiscard]] float value(double u, double v) const;
  /// Value and gradient.
  [[nodiscard]] Sample sample(double u, double v) const;

  /// Correlation between two samples, `lag_px` apart along one axis, of white noise in the
  /// picture's pixels, averaged over where they fall between pixels. 1 at 0, symmetric, 0 far away.
  [[nodiscard]] double noise_correlation(double lag_px) const;

 private:
  [[nodiscard]] double plane_px(double u) const { return (u - 0.5) / step_; }

  int width_ = 0;  // of the coefficients
  int height_ = 0;
  int step_ = 1;
  std::vector<float> coefficients_;
  std::vector<double> correlation_;  // noise_correlation, kPerStep entries a step
};

}  // namespace seamwright
