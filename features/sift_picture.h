#pragma once

// Key points of a resampled view and their SIFT descriptors (Lowe 2004, IJCV 60:91–110) in
// Hellinger form (Arandjelović & Zisserman 2012): distances compare square roots.

#include <array>
#include <cstdint>
#include <vector>

#include <opencv2/core.hpp>

#include "features/descriptor.h"
#include "sampling/resampled_view.h"

namespace seamwright {

/// A view's normalised raster as SIFT reads it. Key points are in OpenCV's pixels (whole numbers at
/// pixel centres).
class SiftPicture {
 public:
  /// `contrast`: SIFT's threshold on the normalised raster.
  SiftPicture(const ResampledView& view, double contrast);

  /// Inside the valid part by their size, no larger than `largest_px`, one a place, angle 0,
  /// ordered by y, then x.
  [[nodiscard]] std::vector<cv::KeyPoint> detect(float largest_px) const;
  /// One descriptor a key point, turned to its `angle` (degrees from x towards y).
  [[nodiscard]] std::vector<Descriptor> describe(std::vector<cv::KeyPoint> keys) const;

 private:
  cv::Mat grey_;
  cv::Mat clearance_;  // of every pixel to the nearest one that is not valid
  double contrast_;
};

}  // namespace seamwright
