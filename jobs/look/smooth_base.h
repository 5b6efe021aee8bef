#pragma once

// What is bright and what is dark in a panorama, without its detail and without a halo at edges.

#include "imaging/plane.h"

namespace seamwright {

/// The guided filter of He, Sun, Tang 2013 (PAMI 35:1397, equations 5, 6 and 8), whose linear
/// models are fitted on a small raster and applied to every pixel (the fast guided filter, He & Sun
/// 2015, arXiv 1505.00996). Columns go around.
class SmoothBase {
 public:
  /// `small`: the panorama, reduced. Differences whose variance is well below `edge_variance` over
  /// (2·radius + 1)² of its pixels go, larger ones stay.
  SmoothBase(const FloatPlane& small, int radius, double edge_variance);

  /// The base of a pixel whose own value is `value`, at continuous pixels of the small raster;
  /// `u` from 0 to below its width.
  [[nodiscard]] double at(double u, double v, double value) const;

 private:
  FloatPlane slope_;
  FloatPlane offset_;
};

}  // namespace seamwright
